"""What a profile will take of the night: time until the data, until cold, water evaporated."""

from __future__ import annotations

import math
from typing import NamedTuple

from proofbath.control.bath_model import BathModel
from proofbath.errors import InputError
from proofbath.run.duration import leg_seconds
from proofbath.run.profile import Leg
from proofbath.run.profiles import OPEN_C

VAPORISATION_J_PER_KG = 2.28e6
"""Water at 90 °C (from memory; IAPWS-IF97 gives 2.283e6)."""
WATER_KG_PER_L = 0.965
"""At 90 °C."""
DAY_S = 86_400.0


class Forecast(NamedTuple):
    """A profile on a bath, by the bath's model."""

    total_s: float
    ready_s: float
    """End of the last recorded step."""
    cold_s: float
    """The bath is cold enough to be opened."""
    evaporated_l: float


class Deadlines(NamedTuple):
    """Seconds from the start until data and until a cold bath are wanted; inf for no matter."""

    ready_s: float = math.inf
    cold_s: float = math.inf

    def sooner(self, by_s: float) -> Deadlines:
        """Return them with so much less time left."""
        return Deadlines(self.ready_s - by_s, self.cold_s - by_s)


def forecast(legs: tuple[Leg, ...], model: BathModel, from_c: float | None = None) -> Forecast:
    """Return what `legs` take on a bath that begins at `from_c` (ambient when left out)."""
    at_c = model.ambient_c if from_c is None else from_c
    total_s = ready_s = vapour_j = 0.0
    for leg in legs:
        took_s = leg_seconds(leg, at_c, model)
        then_c = at_c if math.isnan(leg.to_c) else leg.to_c
        vapour_j += took_s * (model.evaporation_w(at_c) + model.evaporation_w(then_c)) / 2.0
        total_s += took_s
        at_c = then_c
        if leg.step.purpose == "recorded":
            ready_s = total_s
    left_s = model.time_to_s(at_c, OPEN_C, math.inf) if at_c > OPEN_C else 0.0
    evaporated_l = vapour_j / VAPORISATION_J_PER_KG / WATER_KG_PER_L
    return Forecast(total_s, ready_s, total_s + left_s, evaporated_l)


def seconds_until(time_of_day: str, now_s: float) -> float:
    """Return the seconds from `now_s` (since local midnight) until the next "HH:MM"."""
    hours, minutes = time_of_day.split(":")
    return (int(hours) * 3600.0 + int(minutes) * 60.0 - now_s) % DAY_S


def drop_to_fit(
    legs: tuple[Leg, ...], model: BathModel, deadlines: Deadlines, may_drop: list[int]
) -> tuple[tuple[Leg, ...], list[int]]:
    """Return the legs that meet the deadlines and the cycles left out for it, in order.

    Raises InputError with the times when even the fewest cycles are too many.
    """
    dropped: list[int] = []
    for cycle in [None, *may_drop]:
        if cycle is not None:
            legs = tuple(leg for leg in legs if leg.step.cycle != cycle or _kept(leg))
            dropped.append(cycle)
        needs = forecast(legs, model)
        if needs.ready_s <= deadlines.ready_s and needs.cold_s <= deadlines.cold_s:
            return legs, dropped
    faults = [
        f"{name} takes {needed_s / 3600:.1f} h, there are {given_s / 3600:.1f} h; begin earlier"
        " or leave cycles out (may_drop)"
        for name, needed_s, given_s in (
            ("ready_by: the data", needs.ready_s, deadlines.ready_s),
            ("cold_by: a cold bath", needs.cold_s, deadlines.cold_s),
        )
        if needed_s > given_s
    ]
    raise InputError(*faults)


def _kept(leg: Leg) -> bool:
    return leg.step.purpose == "cool-down"
