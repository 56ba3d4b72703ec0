"""The whole plan checked before any heat: all faults at once, warnings, and how long it takes."""

from __future__ import annotations

import math
from typing import NamedTuple

from proofbath.errors import InputError
from proofbath.run.duration import total_seconds
from proofbath.run.element_steps import with_element_checks
from proofbath.run.faults import BenchFacts, plan_faults
from proofbath.run.forecast import Deadlines, drop_to_fit, forecast, seconds_until
from proofbath.run.in_turn import in_turn
from proofbath.run.plan import NightPlan
from proofbath.run.profile import Leg, Loading, Ramp, Soak, resolve, wanted_c
from proofbath.run.profiles import OPEN_C

__all__ = ["BenchFacts", "CheckedPlan", "check_plan"]

EVAPORATION_COVER = 2.0
"""Evaporation is known to about 40 % (from memory): the fill covers it twice."""


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
    legs = resolve(plan.steps().step, plan.unit_type, facts.limit_c, _loading(plan, facts))
    faults = plan_faults(plan, legs, facts)
    if faults:
        raise InputError(*faults)
    turns: list[str] = []
    if facts.supply_a is not None:
        legs, turns = in_turn(legs, facts.model)
    one_at_a_time = facts.supply_a is not None
    checks_s = total_seconds(with_element_checks(legs, one_at_a_time), facts.model) - total_seconds(
        legs, facts.model
    )
    deadlines = _deadlines(plan, facts).sooner(checks_s)
    legs, dropped = drop_to_fit(legs, facts.model, deadlines, plan.may_drop)
    warnings = [f"cycle {cycle} is left out to be ready in time" for cycle in dropped]
    warnings += turns + _warnings(plan, legs, facts)
    legs = with_element_checks(legs, one_at_a_time)
    needs = forecast(legs, facts.model)
    fill_l = EVAPORATION_COVER * needs.evaporated_l
    if facts.above_switch_l is not None and facts.above_switch_l < fill_l:
        raise InputError(
            f"bath: {needs.evaporated_l:.1f} l will evaporate, {facts.above_switch_l:.1f} l stand"
            f" above the level switch; fill to {fill_l:.1f} l above it"
        )
    return CheckedPlan(legs, tuple(warnings), needs.total_s, needs.ready_s, needs.cold_s, fill_l)


def _loading(plan: NightPlan, facts: BenchFacts) -> Loading:
    loading = plan.loading()
    if facts.supply_a is None:
        return loading
    return loading._replace(max_a=tuple(min(a, facts.supply_a) for a in loading.max_a))


def _deadlines(plan: NightPlan, facts: BenchFacts) -> Deadlines:
    now_s = facts.now_s
    if now_s is None:
        return Deadlines()
    ready_s, cold_s = (
        math.inf if by is None else seconds_until(by, now_s) for by in (plan.ready_by, plan.cold_by)
    )
    return Deadlines(ready_s, cold_s)


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
