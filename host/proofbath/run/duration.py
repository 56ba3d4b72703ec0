"""How long steps take on a bath, by its model."""

from __future__ import annotations

import math
from collections.abc import Iterable

from proofbath.control.bath_model import BathModel
from proofbath.run.power import most_w
from proofbath.run.profile import (
    FASTEST_K_PER_MIN,
    Drive,
    Energise,
    Leg,
    PowerRamp,
    Ramp,
    Soak,
)

_POWER_SPAN_W = 12.0
"""What a power ramp down to little is taken to begin at."""


def leg_seconds(leg: Leg, from_c: float, model: BathModel) -> float:
    """Return the seconds a leg takes from a temperature; inf where the bath cannot get there."""
    step = leg.step
    if isinstance(step, (Ramp, Soak)):
        rate = step.rate_k_per_min
        most = FASTEST_K_PER_MIN if isinstance(rate, str) else rate
        moving_s = model.time_to_s(from_c, leg.to_c, most, sum(most_w(leg)))
        return moving_s + step.at_least_s if isinstance(step, Soak) else moving_s
    if isinstance(step, Energise):
        return step.at_most_s
    if isinstance(step, PowerRamp):
        return 60.0 * max(step.to_w, _POWER_SPAN_W) / step.rate_w_per_min
    if isinstance(step, Drive) and step.duty > 0.0:
        return min(step.for_s, model.time_to_s(from_c, leg.to_c, math.inf) / step.duty)
    return step.for_s


def total_seconds(legs: Iterable[Leg], model: BathModel, from_c: float = math.nan) -> float:
    """Return the seconds all legs take; they begin at ambient unless `from_c` says otherwise."""
    at_c = model.ambient_c if math.isnan(from_c) else from_c
    total_s = 0.0
    for leg in legs:
        total_s += leg_seconds(leg, at_c, model)
        at_c = at_c if math.isnan(leg.to_c) else leg.to_c
    return total_s
