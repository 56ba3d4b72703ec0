"""The whole plan checked before any heat: all faults at once, warnings, and how long it takes."""

from __future__ import annotations

import math
from collections import Counter
from typing import NamedTuple

from proofbath.control.bath_model import BathModel
from proofbath.control.boiling import MARGIN_K
from proofbath.errors import InputError
from proofbath.run.duration import total_seconds
from proofbath.run.plan import NightPlan
from proofbath.run.profile import Hold, Leg, Ramp, Soak, resolve, wanted_c
from proofbath.run.profiles import OPEN_C

HOLDING_DUTY = 0.95
"""A temperature that takes more of the heater only to be kept is beyond the bath."""


class BenchFacts(NamedTuple):
    """What a plan must know of the bench it is to run on."""

    stations: int
    boiling_c: float
    """Of the coolant at the day's station pressure."""
    model: BathModel

    @property
    def limit_c(self) -> float:
        """Highest bath temperature: bubbles lift gauges nearer to boiling."""
        return self.boiling_c - MARGIN_K


class CheckedPlan(NamedTuple):
    """A plan that may run: its legs, what to know beforehand, its time by the bath model."""

    legs: tuple[Leg, ...]
    warnings: tuple[str, ...]
    expected_s: float


def check_plan(plan: NightPlan, facts: BenchFacts) -> CheckedPlan:
    """Return the plan made ready; raises InputError with every fault, one line each."""
    steps = plan.steps().step
    legs = resolve(steps, plan.unit_type, facts.limit_c)
    faults = _loading_faults(plan, facts) + _stage_faults(plan, legs)
    faults += [fault for i, leg in enumerate(legs, 1) for fault in _leg_faults(i, leg, plan, facts)]
    faults += _rate_faults(legs, facts)
    if faults:
        raise InputError(*faults)
    expected_s = total_seconds(legs, facts.model)
    return CheckedPlan(legs, tuple(_warnings(plan, legs)), expected_s)


def _loading_faults(plan: NightPlan, facts: BenchFacts) -> list[str]:
    stations = Counter(loaded.station for loaded in plan.station)
    serials = Counter(loaded.serial for loaded in plan.station)
    faults = [f"station {s}: loaded {n} times; load it once" for s, n in stations.items() if n > 1]
    faults += [f"serial {s}: loaded {n} times; check the tags" for s, n in serials.items() if n > 1]
    faults += [
        f"station {s}: this bench has {facts.stations}" for s in stations if s > facts.stations
    ]
    reference = plan.reference_type or plan.unit_type
    if any(loaded.role == "reference" for loaded in plan.station):
        opens_c = reference.nominal_start_to_open_c
        if opens_c >= facts.limit_c:
            faults.append(
                f"reference type {reference.name}: opens at {opens_c:.1f} °C, the bath's limit is"
                f" {facts.limit_c:.1f} °C; use a reference that opens unpowered below it"
            )
    return faults


def _stage_faults(plan: NightPlan, legs: tuple[Leg, ...]) -> list[str]:
    faults = []
    if isinstance(legs[0].step, Hold):
        faults.append("step 1: a hold has no temperature to hold; begin with a soak")
    if plan.stage == "as-found" and any(leg.step.purpose == "conditioning" for leg in legs):
        faults.append("stage as-found: the first cycle is the finding; leave conditioning out")
    return faults


def _leg_faults(number: int, leg: Leg, plan: NightPlan, facts: BenchFacts) -> list[str]:
    if isinstance(leg.step, Hold):
        return []
    faults = []
    if leg.to_c > facts.limit_c:
        faults.append(
            f"step {number}: {leg.to_c:.1f} °C is above the bath's limit {facts.limit_c:.1f} °C"
            f" ({MARGIN_K:.0f} K below boiling); lower it or set at_most_bath_limit"
        )
    faults += [
        f"step {number}: {leg.to_c:.1f} °C is above the cap {unit_type.cap_c:.1f} °C of"
        f" {serial} ({unit_type.name}); lower it"
        for serial, unit_type in plan.types_loaded()
        if leg.to_c > unit_type.cap_c
    ]
    duty = facts.model.steady_duty(leg.to_c)
    if duty > HOLDING_DUTY:
        faults.append(
            f"step {number}: keeping {leg.to_c:.1f} °C takes {100 * duty:.0f} % of the heater,"
            f" limit {100 * HOLDING_DUTY:.0f} %; cover the bath or lower the temperature"
        )
    if leg.to_c <= facts.model.ambient_c + 1.0:
        faults.append(
            f"step {number}: {leg.to_c:.1f} °C cannot be reached by cooling,"
            f" ambient is {facts.model.ambient_c:.1f} °C"
        )
    return faults


def _rate_faults(legs: tuple[Leg, ...], facts: BenchFacts) -> list[str]:
    """A rise is as fast as it says or refused; a fall may be as fast as the bath can."""
    faults = []
    at_c = -math.inf
    for number, leg in enumerate(legs, 1):
        rate = leg.step.rate_k_per_min if isinstance(leg.step, Ramp) else 0.0
        attainable = facts.model.rise_k_per_min(leg.to_c)
        if leg.to_c > at_c and not isinstance(rate, str) and rate > attainable > 0.0:
            faults.append(
                f"step {number}: {rate:g} K/min is more than the {attainable:.2f} K/min attainable"
                f' at {leg.to_c:.1f} °C; ask for less or for "attainable"'
            )
        at_c = leg.to_c
    return faults


def _warnings(plan: NightPlan, legs: tuple[Leg, ...]) -> list[str]:
    warnings = []
    for number, leg in enumerate(legs, 1):
        if leg.clipped and isinstance(leg.step, (Ramp, Soak)):
            warnings.append(
                f"step {number}: clipped from {wanted_c(leg.step, plan.unit_type):.1f} to the"
                f" bath's limit {leg.to_c:.1f} °C; what lies above will have no value"
            )
    highest_c = max(leg.to_c for leg in legs)
    if highest_c < plan.unit_type.nominal_start_to_open_c:
        warnings.append(
            f"the bath reaches {highest_c:.1f} °C, the type opens at"
            f" {plan.unit_type.nominal_start_to_open_c:.1f} °C unpowered"
        )
    if not any(loaded.role == "reference" for loaded in plan.station):
        warnings.append("no reference unit is loaded: nothing shows that the bench is right")
    if legs[-1].to_c > OPEN_C:
        warnings.append(f"the bath ends at {legs[-1].to_c:.1f} °C: scald hazard above {OPEN_C:.0f}")
    return warnings
