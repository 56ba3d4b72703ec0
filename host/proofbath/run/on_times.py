"""How long heater and elements will be on by the bath's model, and where the controller stops them.

A run that goes as planned stays well below; one whose heat does not arrive, or whose element is
forgotten, is stopped by the controller within its own plan's time and not after half a day.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from proofbath.control.bath_model import BathModel
from proofbath.run.duration import leg_seconds
from proofbath.run.power import fed, most_w, stations_fed
from proofbath.run.profile import (
    FASTEST_K_PER_MIN,
    Drive,
    ElementCheck,
    Leg,
    PowerRamp,
    Ramp,
    Soak,
)
from proofbath.wire.table import STATIONS

HEATER_FACTOR, HEATER_EXTRA_S = 2.0, 1800.0
"""A heater of two thirds of its stated power still does; the extra covers a pause of an hour."""
ELEMENT_FACTOR, ELEMENT_EXTRA_S = 1.25, 120.0
_MINUTE_S = 60


class OnTimes(NamedTuple):
    """Seconds that a plan keeps the heater on in all, and each element at a stretch."""

    heater_s: float
    heater_limit_s: int
    """Where the controller trips."""
    element_s: tuple[float, ...]
    """By station; 0 where none is fed."""
    element_limit_s: tuple[int, ...]
    """Where the controller switches the element off; 0 where it may not be fed at all."""


def on_times(legs: tuple[Leg, ...], model: BathModel) -> OnTimes:
    """Return the on-times of legs that begin on a bath at ambient temperature."""
    at_c = model.ambient_c
    heater_s = waits_s = 0.0
    for leg in legs:
        heater_s += _heater_s(leg, at_c, model)
        waits_s += _waiting_s(leg, model)
        at_c = at_c if math.isnan(leg.to_c) else leg.to_c
    element_s = _element_s(legs, model)
    return OnTimes(
        heater_s,
        _minutes(HEATER_FACTOR * heater_s + waits_s + HEATER_EXTRA_S),
        element_s,
        tuple(_minutes(ELEMENT_FACTOR * s + ELEMENT_EXTRA_S) if s else 0 for s in element_s),
    )


def _heater_s(leg: Leg, from_c: float, model: BathModel) -> float:
    step = leg.step
    if isinstance(step, Drive):
        return step.duty * leg_seconds(leg, from_c, model)
    if not isinstance(step, (Ramp, Soak)):
        return _duty(model, from_c) * leg_seconds(leg, from_c, model)
    rate = step.rate_k_per_min
    moving_s = _moving_s(model, from_c, leg.to_c, rate if isinstance(rate, float) else math.inf)
    return moving_s + (_duty(model, leg.to_c) * step.at_least_s if isinstance(step, Soak) else 0.0)


def _moving_s(model: BathModel, from_c: float, to_c: float, rate_k_per_min: float) -> float:
    """Heater-on time from one temperature to another, in pieces of a kelvin at most."""
    rises = to_c > from_c
    fastest = model.rise_k_per_min if rises else model.fall_k_per_min
    pieces = max(1, math.ceil(abs(to_c - from_c)))
    width_k = abs(to_c - from_c) / pieces
    on_s = 0.0
    for i in range(pieces):
        at_c = from_c + (i + 0.5) * (to_c - from_c) / pieces
        rate = min(rate_k_per_min, FASTEST_K_PER_MIN, fastest(at_c))
        if rate <= 0.0:
            return math.inf
        stored_w = model.capacity_j_per_k(at_c) * rate / 60.0
        power_w = model.loss_w(at_c) + (stored_w if rises else -stored_w)
        on_s += 60.0 * width_k / rate * min(max(power_w / model.heater_w, 0.0), 1.0)
    return on_s


def _duty(model: BathModel, bath_c: float) -> float:
    return min(max(model.steady_duty(bath_c), 0.0), 1.0)


def _waiting_s(leg: Leg, model: BathModel) -> float:
    """What a step may keep the heater on beyond its expected time."""
    step = leg.step
    if isinstance(step, Soak):
        return _duty(model, leg.to_c) * (step.at_most_s - step.at_least_s)
    return step.duty * step.for_s if isinstance(step, Drive) else 0.0


def _element_s(legs: tuple[Leg, ...], model: BathModel) -> tuple[float, ...]:
    """Longest unbroken time of each station: powered steps behind each other add up."""
    longest, unbroken = [0.0] * STATIONS, [0.0] * STATIONS
    power_w, at_c = 0.0, model.ambient_c
    for leg in legs:
        step = leg.step
        on, took_s = _fed_s(leg, at_c, model)
        at_c = at_c if math.isnan(leg.to_c) else leg.to_c
        if isinstance(step, PowerRamp):
            took_s = max(took_s, 60.0 * abs(step.to_w - power_w) / step.rate_w_per_min)
        power_w = max(most_w(leg))
        unbroken = [s + took_s if is_on else 0.0 for s, is_on in zip(unbroken, on, strict=True)]
        longest = list(map(max, longest, unbroken))
    return tuple(longest)


def _fed_s(leg: Leg, from_c: float, model: BathModel) -> tuple[tuple[bool, ...], float]:
    step = leg.step
    if isinstance(step, ElementCheck):
        return tuple(
            n in step.stations for n in range(1, STATIONS + 1)
        ), step.base_s + step.current_s
    if not stations_fed(leg):
        return (False,) * STATIONS, 0.0
    waits_s = step.at_most_s - step.at_least_s if isinstance(step, Soak) else 0.0
    return fed(step, leg.loading), leg_seconds(leg, from_c, model) + waits_s


def _minutes(seconds: float) -> int:
    """Whole minutes in seconds, rounded up; what is not finite stays beyond any limit."""
    return _MINUTE_S * math.ceil(min(seconds, 1e7) / _MINUTE_S)
