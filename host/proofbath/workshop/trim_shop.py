"""From records to trimming: what a shop knows of a type, a unit, its target, a forecast."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from proofbath.errors import InputError
from proofbath.proof.decision import acceptance_limits
from proofbath.proof.lift_curve import LiftCurve
from proofbath.proof.rework_kind import Refillable, Setting
from proofbath.proof.specification import Limit, Specification
from proofbath.proof.trim_act import CLEAN, Act, Fill, effect
from proofbath.proof.trim_advice import Forecast, TrimAdviser
from proofbath.proof.trim_knowledge import (
    STICK_OUT_SD_MM,
    Surprise,
    TrimKnowledge,
    TrimRound,
)
from proofbath.proof.trim_policy import Means, Shim, Target, TrimUnit
from proofbath.quantity.levels import OPENING
from proofbath.store import kinds
from proofbath.store.records import RecordsReader
from proofbath.workshop.measured_curve import full_lift_of
from proofbath.workshop.measured_values import LIFT, SHARED_BY_RUNS, STARTS, limit_of, value_of
from proofbath.workshop.orders import specification_of
from proofbath.workshop.rework_heat import openings_left
from proofbath.workshop.story import UnitStory, unit_story
from proofbath.workshop.trim_history import (
    Body,
    Event,
    Stretch,
    act_on,
    acts_of,
    best_of,
    body_of,
    curve_of,
    donor_of,
    events_of,
    source_of,
    stretches_of,
)

SETTING = Shim(-2.0, 2.0)
"""How far a setting can be turned either way (common practice, no source)."""
START_MM, USUAL_TARGET_MM = 0.1, 2.0


class _Round(NamedTuple):
    """A round that teaches, with the place of its last measurement in the records."""

    place: int
    told: TrimRound


def knowledge_of(records: RecordsReader, type_name: str) -> TrimKnowledge:
    """Return what all rounds of a type on record teach, in all batches, on all benches."""
    body = body_of(records, type_name)
    return _knowledge(body, [one.told for one in _rounds(records, body)])


def trim_unit(
    records: RecordsReader, story: UnitStory, knowledge: TrimKnowledge | None = None
) -> TrimUnit:
    """Return a unit as it was measured last, with what it holds and the openings it has left.

    Raises InputError where it was not measured since its last rework, or its curve is not known.
    """
    serial = story.unit.entry.serial
    body = body_of(records, story.unit.entry.unit_type)
    events = events_of(records, serial)
    if not events or all(event.rework for event in events):
        raise InputError("not measured yet: measure it as found first")
    if events[-1].rework is not None:
        raise InputError(f"reworked on {events[-1].date}: measure it first")
    return _unit_at(records, story, events, knowledge or knowledge_of(records, body.name))


def act_of(records: RecordsReader, entry: kinds.Rework) -> Act | None:
    """Return a rework on record as an act; None where a part was changed, or nothing measured."""
    unit = records.one(kinds.Unit, entry.unit_id).entry
    body = body_of(records, unit.unit_type)
    before: Event | None = None
    for event in events_of(records, unit.serial):
        if event.rework is not None and event.rework.entry == entry:
            break
        before = event if event.rework is None else before
    own = None if before is None else curve_of(before, body)
    return None if own is None or isinstance(own, str) else act_on(records, entry, own, body)


def forecast_of(records: RecordsReader, story: UnitStory) -> Forecast | None:
    """Return what the next run reads after the reworks that were not measured yet; None without.

    None also where a part was changed, so that nothing can be foretold. The cold pin's stick-out
    is what the masses say, so that a pin that was read can be held against it.
    """
    serial = story.unit.entry.serial
    body = body_of(records, story.unit.entry.unit_type)
    events = events_of(records, serial)
    last = next(reversed(stretches_of(serial, events, body)), None)
    if last is None or last.before is None or last.after is not None:
        return None
    upto = [event for event in events if event.place < last.place]
    knowledge = knowledge_of(records, body.name)
    try:
        unit = _unit_at(records, story, upto, knowledge)
    except InputError:
        return None
    act = acts_of(records, last.reworks, unit.curve, body)
    if act is None:
        return None
    wanted = _wanted(records, story)
    at_c, lift_mm = wanted or (float(np.mean(unit.curve.temperature_c(START_MM))), START_MM)
    target = Target(at_c, at_c - 99.0, at_c + 99.0, lift_mm)
    adviser = TrimAdviser(knowledge, Means(), target)
    found = adviser.forecast(unit, by_pin_or_balance(act, unit.fill, knowledge))
    by_balance = adviser.forecast(unit, act._replace(pin_stick_out_mm=None))
    return found._replace(pin_stick_out_mm=by_balance.pin_stick_out_mm)


def surprise_of(records: RecordsReader, story: UnitStory) -> Surprise | None:
    """Return how a unit's last round fits what all others foretell; None where there is none."""
    body = body_of(records, story.unit.entry.unit_type)
    rounds = list(_rounds(records, body))
    serial = story.unit.entry.serial
    mine = [one for one in rounds if one.told.serial == serial]
    stretches = stretches_of(serial, events_of(records, serial), body)
    last = stretches[-1].after if stretches else None
    if not mine or last is None or mine[-1].place != last.place:
        return None
    others = [one.told for one in rounds if one is not mine[-1]]
    return _knowledge(body, others).surprise(mine[-1].told)


def target_of(records: RecordsReader, story: UnitStory) -> Target:
    """Return where a unit is to come to, the guard band of its own uncertainty taken off.

    Raises InputError where its specification has no two limits to aim between.
    """
    specification = specification_of(records, story)
    limit = aimed_at(specification)
    low, high = acceptance_limits(limit, _big_u(story, limit), specification.rule)
    assert low is not None
    assert high is not None
    wanted = limit.nominal if limit.nominal is not None else (low + high) / 2
    version = records.one(kinds.TypeVersion, story.batch.entry.type_version_id).entry
    heated = version.unit_type.element_ohm is not None
    target = Target(
        wanted,
        low,
        high,
        limit.threshold_mm or START_MM,
        highest_c=None if heated else version.unit_type.cap_c,
    )
    return _with_lift(target, specification, story)


def aimed_at(specification: Specification) -> Limit:
    """Return the limit that rework aims between: what was ordered, else the start-to-open.

    Raises InputError where there is none with two ends.
    """
    for quantities in ((OPENING,), STARTS):
        limit = limit_of(specification, quantities)
        if limit is not None and None not in limit.bounds:
            return limit
    raise InputError(
        f"type {specification.unit_type}: its specification has no two limits of start-to-open to"
        " aim between; order a temperature (proofbath batch order)"
    )


def means_of(
    records: RecordsReader, kind: Refillable | Setting, own: LiftCurve, body: Body
) -> Means:
    """Return what can be done to a unit of a curve: a donor's wax where it was measured."""
    if isinstance(kind, Setting):
        shim = SETTING._replace(step_mm=kind.step_mm)
        return Means(sources=(), removes=False, shim=shim)
    donors = [donor_of(records, name, own) for name in kind.donors]
    return Means(
        (CLEAN,),
        kind.removes,
        tuple(donor for donor in donors if donor is not None),
        Shim(kind.shim.least_mm, kind.shim.most_mm, kind.shim.step_mm) if kind.shim else None,
        kind.most_closing_mm,
        kind.reads_pin,
        kind.step_mg,
    )


def by_pin_or_balance(act: Act, fill: Fill, knowledge: TrimKnowledge) -> Act:
    """Return an act whose cold pin was read as the one that is known better: by pin or balance."""
    by_balance = act._replace(pin_stick_out_mm=None)
    if act.pin_stick_out_mm is None or not act.mass_in_mg:
        return by_balance
    samples = knowledge.samples(by_balance, fill)
    done = effect(by_balance, fill, samples.theta, samples.errors)
    return act if float(np.std(done.stick_out_mm)) > STICK_OUT_SD_MM else by_balance


def _knowledge(body: Body, rounds: list[TrimRound]) -> TrimKnowledge:
    kind = body.kind
    refillable = kind if isinstance(kind, Refillable) else Refillable()
    knowledge = TrimKnowledge(
        dosing_sd_mg=max(refillable.dosing_sd_mg, 0.05),
        pin_known=body.element.pin_mm is not None,
        sources=refillable.donors,
    )
    knowledge.add(rounds)
    return knowledge


def _rounds(records: RecordsReader, body: Body) -> Iterator[_Round]:
    """Yield the rounds of all units of a type in the order in which they were measured."""
    found = []
    for unit in records.current(kinds.Unit, unit_type=body.name):
        serial = unit.entry.serial
        fill = body.fill
        for stretch in stretches_of(serial, events_of(records, serial), body):
            one = _round(records, stretch, fill, body)
            fill = _filled(records, fill, stretch, body)
            if one is not None:
                found.append(one)
    yield from sorted(found, key=lambda one: one.place)


def _round(records: RecordsReader, stretch: Stretch, fill: Fill, body: Body) -> _Round | None:
    """Return a stretch as a round; None where a curve is missing or something else was changed."""
    before, after = stretch.before, stretch.after
    if before is None or after is None:
        return None
    alike = before.bench is not None and before.bench == after.bench
    shared = SHARED_BY_RUNS if alike else ()
    curves = [curve_of(event, body, shared=shared) for event in (before, after)]
    first, second = curves
    if isinstance(first, str) or isinstance(second, str):
        return None
    act = acts_of(records, stretch.reworks, first, body)
    if act is None:
        return None
    pin = act.pin_stick_out_mm
    told = TrimRound(stretch.serial, first, second, act._replace(pin_stick_out_mm=None), fill, pin)
    return _Round(after.place, told)


def _filled(records: RecordsReader, fill: Fill, stretch: Stretch, body: Body) -> Fill:
    """Return what a unit holds after a stretch, whatever its curves were."""
    for kept in stretch.reworks:
        done, amount = kept.entry.act, kept.entry.amount
        if kept.entry.kind == "wax" and amount:
            act = Act(mass_out_mg=max(-amount, 0.0), mass_in_mg=max(amount, 0.0))
        elif done is not None:
            source = source_of(records, done.donor_type or done.source, body.name)
            act = Act(min(done.mass_out_mg, fill.mass_mg), done.mass_in_mg, source)
        else:
            continue
        fill = fill.after(act)
    return fill


def _unit_at(
    records: RecordsReader, story: UnitStory, events: list[Event], knowledge: TrimKnowledge
) -> TrimUnit:
    """Return a unit as the last of these events measured it."""
    serial = story.unit.entry.serial
    body = body_of(records, story.unit.entry.unit_type)
    reworked = [n for n, event in enumerate(events) if event.rework is not None]
    last = best_of(events[reworked[-1] + 1 if reworked else 0 :], body)
    assert last is not None
    curve = curve_of(last, body, knowledge.shape_logs)
    if isinstance(curve, str):
        raise InputError(f"no start-to-open to go by: {curve}")
    fill, rounds, spread_k = body.fill, 0, None
    left = openings_left(records, unit_story(records, serial))
    for stretch in stretches_of(serial, events, body):
        fill = _filled(records, fill, stretch, body)
        rounds += stretch.batch == story.batch.entry.name and any(
            kept.entry.kind in ("wax", "setting", "element") for kept in stretch.reworks
        )
        if spread_k is None and stretch.before is not None:
            spread_k = _spread_k(curve_of(stretch.before, body))
    left = None if left is None else max(left, 0)
    return TrimUnit(serial, curve, fill, rounds, left, spread_k)


def _spread_k(curve: LiftCurve | str) -> float | None:
    if isinstance(curve, str):
        return None
    apart = curve.temperature_c(USUAL_TARGET_MM) - curve.temperature_c(START_MM)
    return float(curve.weights @ apart)


def _wanted(records: RecordsReader, story: UnitStory) -> tuple[float, float] | None:
    """Return the temperature and the lift that a unit is to come to; None where none is stated."""
    try:
        limit = aimed_at(specification_of(records, story))
    except InputError:
        return None
    low, high = limit.bounds
    middle = limit.nominal if limit.nominal is not None else ((low or 0.0) + (high or 0.0)) / 2
    return middle, limit.threshold_mm or START_MM


def _big_u(story: UnitStory, limit: Limit) -> float:
    """Return the uncertainty of a unit's last value of a limit, else half the largest allowed."""
    for step in reversed(story.steps):
        value = value_of(limit, step.content) if step.content else None
        if value is not None and value.expanded_uncertainty is not None:
            return value.expanded_uncertainty
    return limit.judged_with_u / 2


def _with_lift(target: Target, specification: Specification, story: UnitStory) -> Target:
    """Return the target with the lift its specification asks for, at the bath it was read in."""
    limit = limit_of(specification, (LIFT,))
    lower = limit.bounds[0] if limit else None
    if limit is None or lower is None:
        return target
    for step in reversed(story.steps):
        value = value_of(limit, step.content) if step.content else None
        top = full_lift_of(step.content) if step.content else None
        if value is not None and top is not None:
            low, _ = acceptance_limits(limit, value.expanded_uncertainty or 0.0, specification.rule)
            return target._replace(lower_lift_mm=low, full_at_c=top[1])
    return target
