"""Power of the elements: which stations are fed, and the current that gives a power.

P = I² R with R = U / I as measured at the station; below `JUDGED_A` the measured R says nothing
and the last one stands.
"""

from __future__ import annotations

import math

from proofbath.run.profile import Energise, Loading, PowerRamp
from proofbath.run.reading import NO_CURRENT, Reading
from proofbath.wire.table import STATIONS

JUDGED_A = 0.1
RENEWED_S = 1.0
"""Currents are set anew this often."""
_TRUST = 0.2
"""Share of a new resistance in the kept one."""
_PLAUSIBLE = 2.0
"""A measured resistance further off than this factor is a fault, not an element."""


def fed(step: Energise | PowerRamp, loading: Loading) -> tuple[bool, ...]:
    """Return for each station whether the step feeds its element."""
    return tuple(
        most_a > 0.0 and (step.stations is None or station in step.stations)
        for station, most_a in enumerate(loading.max_a, 1)
    )


class PowerGenerator:
    """The power of one ramp, and the currents that make it."""

    def __init__(self, step: PowerRamp, loading: Loading) -> None:
        self._step = step
        self._fed = fed(step, loading)
        self._max_a = loading.max_a
        self._nominal_ohm = loading.ohm
        self._ohm = list(loading.ohm)
        self._power_w = math.nan
        self._renewed_s = -math.inf
        self._element_a = NO_CURRENT

    @property
    def arrived(self) -> bool:
        """Whether the power is the target's."""
        return self._power_w == self._step.to_w

    def currents(self, reading: Reading) -> tuple[float, ...]:
        """Return the currents for now; the ramp begins at the power that flows already."""
        passed_s = reading.t_s - self._renewed_s
        if passed_s < RENEWED_S:
            return self._element_a
        self._renewed_s = reading.t_s
        self._measure(reading)
        if math.isnan(self._power_w):
            self._power_w = self._flowing_w(reading)
        else:
            most_w = self._step.rate_w_per_min / 60.0 * min(passed_s, 2.0 * RENEWED_S)
            left_w = self._step.to_w - self._power_w
            there = abs(left_w) <= most_w
            self._power_w = (
                self._step.to_w if there else self._power_w + math.copysign(most_w, left_w)
            )
        self._element_a = tuple(self._current_a(i) for i in range(STATIONS))
        return self._element_a

    def _measure(self, reading: Reading) -> None:
        trust = 1.0 if math.isnan(self._power_w) else _TRUST
        for i, (current_a, voltage_v) in enumerate(
            zip(reading.element_a, reading.element_v, strict=True)
        ):
            if not (self._fed[i] and current_a >= JUDGED_A):
                continue
            ohm = voltage_v / current_a
            if self._nominal_ohm[i] / _PLAUSIBLE < ohm < self._nominal_ohm[i] * _PLAUSIBLE:
                self._ohm[i] += trust * (ohm - self._ohm[i])

    def _flowing_w(self, reading: Reading) -> float:
        """Mean power of the fed stations; one ramp serves all, so they begin alike."""
        powers = [
            current_a * current_a * ohm
            for current_a, ohm, on in zip(reading.element_a, self._ohm, self._fed, strict=True)
            if on and current_a == current_a
        ]
        flowing_w = sum(powers) / len(powers) if powers else 0.0
        return flowing_w if flowing_w > JUDGED_A**2 else 0.0

    def _current_a(self, i: int) -> float:
        if not self._fed[i]:
            return 0.0
        return min(self._max_a[i], math.sqrt(self._power_w / self._ohm[i]))
