"""The whole plan checked before any heat: all faults at once, warnings, and how long it takes."""

from __future__ import annotations

import math
from typing import NamedTuple

from proofbath.errors import InputError
from proofbath.run.duration import leg_seconds, total_seconds
from proofbath.run.element_steps import with_element_checks
from proofbath.run.faults import BenchFacts, plan_faults
from proofbath.run.forecast import Deadlines, drop_to_fit, forecast, seconds_until
from proofbath.run.in_turn import in_turn
from proofbath.run.on_times import OnTimes, on_times
from proofbath.run.plan import NightPlan
from proofbath.run.power import stations_fed
from proofbath.run.power_reach import reach_warnings
from proofbath.run.profile import Leg, Loading, Ramp, Soak, resolve, wanted_c
from proofbath.run.profiles import OPEN_C

__all__ = ["BenchFacts", "CheckedPlan", "check_plan"]

EVAPORATION_COVER = 2.0
"""Evaporation is known to about 40 % (from memory): the fill covers it twice."""
ABOVE_SWITCH_SHARE = 0.5
"""Most of a bath that can stand above its level switch (common practice, no source)."""
ASK_ABOVE_S = 14 * 3600.0
"""A longer run is asked about: an evening and a night are less."""
LONGEST_S = 36 * 3600.0
"""A longer run is refused unless a person says that it is meant."""


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
    on: OnTimes
    """How long heater and elements will be on, and where the controller stops them."""
    parts: tuple[tuple[str, float], ...] = ()
    """Each profile of the night by name and how long its own steps take, in s."""


def check_plan(plan: NightPlan, facts: BenchFacts) -> CheckedPlan:
    """Return the plan made ready; raises InputError with every fault, one line each."""
    limit_c = plan.limit_c(facts.limit_c)
    steps = plan.steps(facts.place).step
    legs = resolve(steps, plan.unit_type, limit_c, _loading(plan, facts))
    faults = plan_faults(plan, legs, facts)
    if faults:
        raise InputError(*faults)
    asked_span_k = None if plan.profile is None else plan.heated.span_k
    reach = reach_warnings(legs, plan.unit_type, asked_span_k, plan.opens())
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
    warnings += reach + turns + _warnings(plan, legs, facts)
    planned = planned_on(with_element_checks(legs, one_at_a_time), tuple(warnings), facts)
    faults = _fill_faults(planned.fill_above_switch_l, facts) + _on_faults(planned.on, facts)
    if faults:
        raise InputError(*faults)
    return planned._replace(parts=_parts(plan, planned.legs, facts))


def _parts(
    plan: NightPlan, legs: tuple[Leg, ...], facts: BenchFacts
) -> tuple[tuple[str, float], ...]:
    """Return what each profile takes: its cycles, one behind the other; cooling belongs to none."""
    firsts = plan.first_cycles(facts.place)
    took_s = dict.fromkeys(firsts, 0.0)
    at_c = facts.model.ambient_c
    for leg in legs:
        if leg.step.purpose != "cool-down":
            name = max((n for n in firsts if firsts[n] <= leg.step.cycle), key=firsts.__getitem__)
            took_s[name] += leg_seconds(leg, at_c, facts.model)
        at_c = at_c if math.isnan(leg.to_c) else leg.to_c
    return tuple(took_s.items())


def planned_on(legs: tuple[Leg, ...], warnings: tuple[str, ...], facts: BenchFacts) -> CheckedPlan:
    """Return legs as they will run on a bench, with their times and limits; nothing is refused."""
    needs, on = forecast(legs, facts.model), on_times(legs, facts.model)
    on = on._replace(
        heater_limit_s=min(on.heater_limit_s, facts.heater_limit_s),
        element_limit_s=tuple(min(s, facts.element_limit_s) for s in on.element_limit_s),
    )
    fill_l = EVAPORATION_COVER * needs.evaporated_l
    return CheckedPlan(legs, warnings, needs.total_s, needs.ready_s, needs.cold_s, fill_l, on)


def duration_fault(checked: CheckedPlan) -> str:
    """Return why a run is too long to be meant, or nothing."""
    if checked.expected_s <= LONGEST_S:
        return ""
    return (
        f"the plan takes {checked.expected_s / 3600:.1f} h, limit {LONGEST_S / 3600:.0f} h;"
        " look at its rates and holds, or say --long if it is meant"
    )


def _fill_faults(fill_l: float, facts: BenchFacts) -> list[str]:
    evaporated_l = fill_l / EVAPORATION_COVER
    if facts.above_switch_l is not None and facts.above_switch_l < fill_l:
        return [
            f"bath: {evaporated_l:.1f} l will evaporate, {facts.above_switch_l:.1f} l stand"
            f" above the level switch; fill to {fill_l:.1f} l above it"
        ]
    most_l = ABOVE_SWITCH_SHARE * facts.fill_l
    if fill_l > most_l:
        return [
            f"bath: {evaporated_l:.1f} l will evaporate, which takes {fill_l:.1f} l above the level"
            f" switch; a bath of {facts.fill_l:.1f} l (fill_l) has {most_l:.1f} l there at most;"
            " shorten the plan or cover the bath"
        ]
    return []


def _on_faults(on: OnTimes, facts: BenchFacts) -> list[str]:
    faults = []
    if on.heater_s > facts.heater_limit_s:
        faults.append(
            f"heater: the plan keeps it on for {on.heater_s / 3600:.1f} h by the bath's model,"
            f" limit {facts.heater_limit_s / 3600:.1f} h (heater_on_limit_s in [limits]);"
            " shorten the plan or raise the limit, to 14 h at most"
        )
    longest_s = max(on.element_s)
    if longest_s > facts.element_limit_s:
        station = on.element_s.index(longest_s) + 1
        faults.append(
            f"station {station}: its element is fed for {longest_s / 60:.0f} min at a stretch,"
            f" limit {facts.element_limit_s / 60:.0f} min (element_on_limit_s in [limits]);"
            " shorten its steps or raise the limit"
        )
    return faults


def _loading(plan: NightPlan, facts: BenchFacts) -> Loading:
    loading = plan.loading()
    return loading._replace(max_a=tuple(min(a, facts.place.most_a) for a in loading.max_a))


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
            asked_c = wanted_c(leg.step, plan.opens(), plan.limit_c(facts.limit_c))
            whose = "bath's limit" if leg.to_c == facts.limit_c else "lowest cap of what hangs"
            warnings.append(
                f"step {number}: clipped from {asked_c:.1f} to the"
                f" {whose} {leg.to_c:.1f} °C; what lies above will have no value"
            )
    needed_s = total_seconds(legs, facts.model)
    if needed_s > ASK_ABOVE_S:
        warnings.append(f"the run takes {needed_s / 3600:.1f} h: more than a night")
    highest_c = max(leg.to_c for leg in legs)
    if highest_c < (last_c := plan.opens().last_c):
        warnings.append(
            f"the bath reaches {highest_c:.1f} °C, the last unit opens at {last_c:.1f} °C unpowered"
        )
    roles = {loaded.role for loaded in plan.station}
    if "unit" in roles and "reference" not in roles:
        warnings.append("no reference unit is loaded: nothing shows that the bench is right")
    unknown = {t.name for _, t in plan.types_loaded() if math.isinf(t.stroke_mm())}
    if any(stations_fed(leg) for leg in legs):
        warnings += [
            f"type {name}: its stop is not known, over-stroke is judged just before the gauge's end"
            " only; give greatest_lift_mm"
            for name in sorted(unknown)
        ]
    if legs[-1].to_c > OPEN_C:
        warnings.append(f"the bath ends at {legs[-1].to_c:.1f} °C: scald hazard above {OPEN_C:.0f}")
    return warnings
