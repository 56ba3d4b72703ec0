"""What must not be run: every fault of a plan on a bench, one line each."""

from __future__ import annotations

import math
from collections import Counter
from operator import itemgetter
from typing import NamedTuple

from proofbath.control.bath_model import BathModel
from proofbath.control.boiling import MARGIN_K
from proofbath.run.current_faults import current_faults
from proofbath.run.feed_faults import CEILING_A, Source, feed_faults
from proofbath.run.heated_profiles import Place
from proofbath.run.no_value import value_faults
from proofbath.run.plan import NightPlan
from proofbath.run.power_reach import reach_faults
from proofbath.run.profile import Drive, Leg, Ramp

HOLDING_DUTY = 0.95
"""A temperature that takes more of the heater only to be kept is beyond the bath."""


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
    supply_a: float | None = None
    """Greatest current of a bench supply, which feeds one station at a time; None: there is none,
    each station has a channel of its own."""
    fill_l: float = math.inf
    """Coolant in the bath."""
    heater_limit_s: int = 14 * 3600
    """Longest heater-on time of a run, and of an element at a stretch, that the bench allows."""
    element_limit_s: int = 4 * 3600
    source: Source = Source()
    """What gives the elements their current."""

    @property
    def limit_c(self) -> float:
        """Highest bath temperature: bubbles lift gauges nearer to boiling."""
        return self.boiling_c - MARGIN_K

    @property
    def place(self) -> Place:
        """What profiles are made for."""
        most_a = CEILING_A if self.supply_a is None else min(CEILING_A, self.supply_a)
        return Place(self.limit_c, self.model, most_a)


def plan_faults(plan: NightPlan, legs: tuple[Leg, ...], facts: BenchFacts) -> list[str]:
    """Return all faults of a plan whose steps are resolved to `legs`; none means it may run."""
    faults = _loading_faults(plan, facts) + _stage_faults(plan, legs)
    faults += feed_faults(legs, facts.model, facts.source, settles=plan.stage != "trial")
    faults += value_faults(plan, legs)
    if plan.stage != "trial":
        faults += reach_faults(legs, plan.unit_type, plan.opens())
        profiles = (plan.profile or "", *plan.then)
        faults += current_faults(profiles, plan.heated_night(facts.place))
    for number, leg in enumerate(legs, 1):
        faults += _leg_faults(number, leg, plan, facts)
    return faults + _rate_faults(legs, facts)


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
        serial, cap_c = min(plan.caps(), key=itemgetter(1))
        if opens_c >= facts.limit_c:
            faults.append(
                f"reference type {reference.name}: opens at {opens_c:.1f} °C, the bath's limit is"
                f" {facts.limit_c:.1f} °C; use a reference that opens unpowered below it"
            )
        elif opens_c >= cap_c:
            faults.append(
                f"reference type {reference.name}: opens at {opens_c:.1f} °C, {serial} may see"
                f" {cap_c:.1f} °C at most; hang a reference that opens below that, or leave"
                f" {serial} out"
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
        f"step {number}: {leg.to_c:.1f} °C is above the cap {cap_c:.1f} °C of"
        f" {serial} ({unit_type.name}); lower it"
        for (serial, cap_c), (_, unit_type) in zip(plan.caps(), plan.types_loaded(), strict=True)
        if leg.to_c > cap_c
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
