"""The bath as the controller sees it: one heat capacity, its losses, its delays."""

from __future__ import annotations

import math
from typing import Annotated

from pydantic import Field

from proofbath.description import Described

Lag = Annotated[float, Field(ge=0.0, le=600.0)]
_REFERENCE_C = 90.0
CAPACITY_AT_C = 60.0
FALLS_WELL = 1.3
"""A bath falls well where it loses so many times what the elements give it."""
HOTTEST_C = 130.0


class BathModel(Described):
    """Heat capacity, losses, heater and delays of one bath at its usual filling.

    C dT/dt = heater(t - dead time, lagged) - loss(T) - cooling(T); the probe lags the bath.
    """

    heat_capacity_j_per_k: Annotated[float, Field(gt=1e3, lt=1e6)]
    capacity_growth_per_k: Annotated[float, Field(ge=-0.01, le=0.01)] = 0.0
    """Relative growth of the heat capacity per kelvin above 60 °C, where the figure stands."""
    loss_w_per_k: Annotated[float, Field(ge=0.0, lt=100.0)]
    evaporation_w_at_90c: Annotated[float, Field(ge=0.0, lt=5000.0)] = 0.0
    ambient_c: Annotated[float, Field(ge=-20.0, le=50.0)] = 20.0
    heater_w: Annotated[float, Field(gt=0.0, lt=20e3)]
    cooling_w_per_k: Annotated[float, Field(ge=0.0, lt=200.0)] = 0.0
    """Heat the open cooling valve takes per kelvin above `cooling_in_c`; 0 is no valve."""
    cooling_in_c: Annotated[float, Field(ge=0.0, le=50.0)] = 15.0
    dead_time_s: Annotated[float, Field(ge=0.0, le=120.0)]
    heater_lag_s: Lag
    probe_lag_s: Lag = 0.0
    guard_probe_lag_s: Lag | None = None
    """Of the guard probe; not known when left out."""

    def capacity_j_per_k(self, bath_c: float) -> float:
        """Return the heat capacity in J/K at `bath_c`: a glycol mix grows by 0.1 % per K."""
        growth = self.capacity_growth_per_k * (bath_c - CAPACITY_AT_C)
        return self.heat_capacity_j_per_k * (1.0 + growth)

    def loss_w(self, bath_c: float) -> float:
        """Return the heat in W a bath at `bath_c` loses by itself."""
        loss_w = self.loss_w_per_k * (bath_c - self.ambient_c)
        return loss_w + self.evaporation_w(bath_c) if self.evaporation_w_at_90c else loss_w

    def evaporation_w(self, bath_c: float) -> float:
        """Return the part of the loss in W that leaves as vapour."""
        return self.evaporation_w_at_90c * vapour_ratio(bath_c)

    def cooling_w(self, bath_c: float) -> float:
        """Return the heat in W the open cooling valve takes; 0 without a valve."""
        return self.cooling_w_per_k * max(0.0, bath_c - self.cooling_in_c)

    def lost_w(self, bath_c: float) -> float:
        """Return the most heat in W a bath at `bath_c` can lose, valve open."""
        return self.loss_w(bath_c) + self.cooling_w(bath_c)

    def falls_from_c(self, bath_c: float, elements_w: float) -> float:
        """Return the lowest temperature from `bath_c` up, in whole kelvins, to which it falls well
        while the units' own heaters give it `elements_w`."""
        while self.lost_w(bath_c) < FALLS_WELL * elements_w and bath_c < HOTTEST_C:
            bath_c += 1.0
        return bath_c

    def steady_duty(self, bath_c: float) -> float:
        """Return the heater duty that keeps `bath_c`; above 1 the bath cannot hold it."""
        return self.loss_w(bath_c) / self.heater_w

    def rise_k_per_min(self, bath_c: float) -> float:
        """Return the fastest rise in K/min at `bath_c`, heater full on."""
        return 60.0 * (self.heater_w - self.loss_w(bath_c)) / self.capacity_j_per_k(bath_c)

    def fall_k_per_min(self, bath_c: float) -> float:
        """Return the fastest fall in K/min (positive) at `bath_c`, heater off, valve open."""
        return 60.0 * self.lost_w(bath_c) / self.capacity_j_per_k(bath_c)

    def time_to_s(
        self, from_c: float, to_c: float, rate_k_per_min: float, elements_w: float = 0.0
    ) -> float:
        """Return the seconds from one temperature to another at most at a rate; inf if never.

        `elements_w` is what the units' own heaters give the bath meanwhile.
        """
        rises = to_c > from_c
        fastest = self.rise_k_per_min if rises else self.fall_k_per_min
        pieces = max(1, math.ceil(abs(to_c - from_c)))
        width_k = (to_c - from_c) / pieces
        total_s = 0.0
        for i in range(pieces):
            at_c = from_c + (i + 0.5) * width_k
            more = 60.0 * elements_w / self.capacity_j_per_k(at_c)
            rate = min(rate_k_per_min, fastest(at_c) + (more if rises else -more))
            if rate <= 0.0:
                return math.inf
            total_s += 60.0 * abs(width_k) / rate
        return total_s


def vapour_ratio(bath_c: float) -> float:
    """Return water's vapour pressure over that at 90 °C.

    Magnus form with the Sonntag constants 17.62 and 243.12 °C (from memory); within 2 % of
    IAPWS-IF97 from 20 to 105 °C, which is far closer than evaporation itself is known.
    """
    return math.exp(17.62 * (bath_c / (243.12 + bath_c) - _REFERENCE_C / (243.12 + _REFERENCE_C)))
