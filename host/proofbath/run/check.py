"""The whole plan checked before any heat: all faults at once, warnings, and how long it takes."""

from __future__ import annotations

import math
from collections import Counter
from typing import NamedTuple

from proofbath.control.bath_model import BathModel
from proofbath.control.boiling import MARGIN_K
from proofbath.errors import InputError
from proofbath.run.forecast import Deadlines, drop_to_fit, forecast, seconds_until
from proofbath.run.plan import NightPlan
from proofbath.run.power import fed
from proofbath.run.profile import (
    PLAIN,
    Drive,
    Energise,
    Leg,
    Loading,
    PowerRamp,
    Ramp,
    Soak,
    resolve,
    wanted_c,
)
from proofbath.run.profiles import OPEN_C
from proofbath.wire.table import STATIONS

HOLDING_DUTY = 0.95
"""A temperature that takes more of the heater only to be kept is beyond the bath."""
EVAPORATION_COVER = 2.0
"""Evaporation is known to about 40 % (from memory): the fill covers it twice."""


class BenchFacts(NamedTuple):
    """What a plan must know of the bench it is to run on."""

    stations: int
    boiling_c: float
    """Of the coolant at the day's station pressure."""
    model: BathModel
    above_switch_l: float | None = None
    """Coolant above the level switch; None is not checked."""
    now_s: float | None = None
    """Local time of day in seconds, for `ready_by` and `cold_by`."""

    @property
    def limit_c(self) -> float:
        """Highest bath temperature: bubbles lift gauges nearer to boiling."""
        return self.boiling_c - MARGIN_K


class CheckedPlan(NamedTuple):
    """A plan that may run: its legs, what to know beforehand, its time by the bath model."""

    legs: tuple[Leg, ...]
    warnings: tuple[str, ...]
    expected_s: float
    ready_s: float
    """When the last recorded step will be over."""
    cold_s: float
    """When the bath will be cold enough to be opened."""
    fill_above_switch_l: float
    """Coolant wanted above the level switch: twice what is expected to evaporate."""


def check_plan(plan: NightPlan, facts: BenchFacts) -> CheckedPlan:
    """Return the plan made ready; raises InputError with every fault, one line each."""
    steps = plan.steps().step
    loading = _loading(plan)
    legs = resolve(steps, plan.unit_type, facts.limit_c, loading)
    faults = _loading_faults(plan, facts) + _stage_faults(plan, legs) + _power_faults(legs)
    faults += [fault for i, leg in enumerate(legs, 1) for fault in _leg_faults(i, leg, plan, facts)]
    faults += _rate_faults(legs, facts)
    if faults:
        raise InputError(*faults)
    legs, dropped = drop_to_fit(legs, facts.model, _deadlines(plan, facts), plan.may_drop)
    warnings = [f"cycle {cycle} is left out to be ready in time" for cycle in dropped]
    warnings += _warnings(plan, legs, facts)
    needs = forecast(legs, facts.model)
    fill_l = EVAPORATION_COVER * needs.evaporated_l
    if facts.above_switch_l is not None and facts.above_switch_l < fill_l:
        raise InputError(
            f"bath: {needs.evaporated_l:.1f} l will evaporate, {facts.above_switch_l:.1f} l stand"
            f" above the level switch; fill to {fill_l:.1f} l above it"
        )
    return CheckedPlan(legs, tuple(warnings), needs.total_s, needs.ready_s, needs.cold_s, fill_l)


def _deadlines(plan: NightPlan, facts: BenchFacts) -> Deadlines:
    now_s = facts.now_s
    if now_s is None:
        return Deadlines()
    ready_s, cold_s = (
        math.inf if by is None else seconds_until(by, now_s) for by in (plan.ready_by, plan.cold_by)
    )
    return Deadlines(ready_s, cold_s)


def _loading(plan: NightPlan) -> Loading:
    loaded = [False] * STATIONS
    max_a, ohm, full_lift_mm = list(PLAIN.max_a), list(PLAIN.ohm), list(PLAIN.full_lift_mm)
    for place in plan.station:
        i = place.station - 1
        loaded[i] = True
        unit_type = plan.type_at(place)
        if unit_type is not None and unit_type.element_ohm is not None:
            max_a[i], ohm[i] = unit_type.element_max_a, unit_type.element_ohm
            full_lift_mm[i] = unit_type.full_lift_mm
    return Loading(tuple(loaded), tuple(max_a), tuple(ohm), tuple(full_lift_mm))


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
    if math.isnan(legs[0].to_c):
        kind = legs[0].step.kind
        faults.append(f"step 1: {kind} has no temperature to stay at; begin with a soak")
    if plan.stage == "as-found" and any(leg.step.purpose == "conditioning" for leg in legs):
        faults.append("stage as-found: the first cycle is the finding; leave conditioning out")
    cycles = {leg.step.cycle for leg in legs}
    faults += [f"may_drop: there is no cycle {c}" for c in plan.may_drop if c not in cycles]
    return faults


def _power_faults(legs: tuple[Leg, ...]) -> list[str]:
    """A lower power lands on the other branch: within one bath, currents only go up."""
    faults = []
    highest_a = 0.0
    for number, leg in enumerate(legs, 1):
        step, loading = leg.step, leg.loading
        if not isinstance(step, (Energise, PowerRamp)):
            highest_a = 0.0
            continue
        on = fed(step, loading)
        if not any(on):
            faults.append(f"step {number}: no station it names has an element heater")
            continue
        most_a = min(a for a, is_on in zip(loading.max_a, on, strict=True) if is_on)
        ohm = max(r for r, is_on in zip(loading.ohm, on, strict=True) if is_on)
        if isinstance(step, PowerRamp):
            asked_a = math.sqrt(step.to_w / ohm)
        else:
            asked_a = step.element_a
            if asked_a < highest_a:
                faults.append(
                    f"step {number}: {asked_a:g} A follows {highest_a:g} A on the same bath;"
                    " set currents only upwards, come down by a power ramp"
                )
            highest_a = asked_a
        if asked_a > most_a:
            faults.append(
                f"step {number}: {asked_a:.2f} A is more than the {most_a:.2f} A the element may"
                " be given; lower it"
            )
    return faults


def _leg_faults(number: int, leg: Leg, plan: NightPlan, facts: BenchFacts) -> list[str]:
    if not leg.moves:
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
    duty = 0.0 if isinstance(leg.step, Drive) else facts.model.steady_duty(leg.to_c)
    if duty > HOLDING_DUTY:
        faults.append(
            f"step {number}: keeping {leg.to_c:.1f} °C takes {100 * duty:.0f} % of the heater,"
            f" limit {100 * HOLDING_DUTY:.0f} %; cover the bath or lower the temperature"
        )
    if leg.to_c <= facts.model.ambient_c + 1.0 and not isinstance(leg.step, Drive):
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


def _warnings(plan: NightPlan, legs: tuple[Leg, ...], facts: BenchFacts) -> list[str]:
    warnings = []
    for number, leg in enumerate(legs, 1):
        if leg.clipped and isinstance(leg.step, (Ramp, Soak)):
            asked_c = wanted_c(leg.step, plan.unit_type, facts.limit_c)
            warnings.append(
                f"step {number}: clipped from {asked_c:.1f} to the"
                f" bath's limit {leg.to_c:.1f} °C; what lies above will have no value"
            )
    highest_c = max(leg.to_c for leg in legs)
    if highest_c < plan.unit_type.nominal_start_to_open_c:
        warnings.append(
            f"the bath reaches {highest_c:.1f} °C, the type opens at"
            f" {plan.unit_type.nominal_start_to_open_c:.1f} °C unpowered"
        )
    roles = {loaded.role for loaded in plan.station}
    if "unit" in roles and "reference" not in roles:
        warnings.append("no reference unit is loaded: nothing shows that the bench is right")
    if legs[-1].to_c > OPEN_C:
        warnings.append(f"the bath ends at {legs[-1].to_c:.1f} °C: scald hazard above {OPEN_C:.0f}")
    return warnings
