"""Rework advice for units on record: from their latest results and all rounds of their type."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any, Literal, NamedTuple

from proofbath.errors import InputError
from proofbath.proof.decision import acceptance_limits
from proofbath.proof.knowledge import Knowledge, Round
from proofbath.proof.rework import Acceptance, Advice, Adviser, Unit
from proofbath.proof.rework_kind import Refillable, Sealed, Setting
from proofbath.proof.specification import Limit, Specification
from proofbath.quantity.quantity import Quantity
from proofbath.store import kinds
from proofbath.store.records import RecordsReader
from proofbath.workshop.intake import newest_type
from proofbath.workshop.measured_values import (
    LIFT,
    SHARED_BY_RUNS,
    STARTS,
    limit_of,
    step_value,
    why_no_value,
)
from proofbath.workshop.snapshot import Snapshot
from proofbath.workshop.story import Step, UnitStory, batch_story, unit_story

Kind = Refillable | Setting
DOSED_BY: dict[str, Literal["wax", "setting"]] = {"refillable": "wax", "setting": "setting"}
USUAL_U_LIFT_MM = 0.05


class UnitAdvice(NamedTuple):
    """Advice for one unit, or in `refusal` why there is none yet."""

    serial: str
    batch: str
    unit: str
    """What a change is counted in: mg of wax or mm of setting."""
    rounds_done: int = 0
    measured: Quantity | None = None
    acceptance_c: tuple[float, float] | None = None
    advice: Advice | None = None
    refusal: str | None = None

    def to_json(self) -> dict[str, Any]:
        """Return the advice as it is printed for programs."""
        shown = self._asdict() | {"measured": None, "advice": None}
        if self.measured:
            shown["measured"] = {
                "start_to_open_c": self.measured.value,
                "expanded_uncertainty": self.measured.expanded_uncertainty,
            }
        if self.advice:
            start, lift = self.advice.start_c, self.advice.lift_mm
            shown["advice"] = self.advice._asdict() | {
                "start_c": start._asdict() if start else None,
                "lift_mm": lift._asdict() if lift else None,
            }
        return shown


def advice_for(records: RecordsReader, name: str) -> list[UnitAdvice]:
    """Return the advice for each unit of a batch, or for one unit by its serial number.

    Raises InputError where there is neither, and where the type cannot be reworked.
    """
    kept = Snapshot(records)
    if kept.current(kinds.Batch, name=name):
        stories = [s for s in batch_story(kept, name) if s.intake.entry.accepted]
    elif kept.current(kinds.Unit, serial=name):
        stories = unit_story(kept, name)[-1:]
    else:
        raise InputError(f"{name!r}: neither a batch nor a unit on record; check the name")
    if not stories:
        raise InputError(f"{name}: nothing taken in; take it into a batch first")
    adviser = _BatchAdviser(kept, stories[0])
    return [adviser.advise(story) for story in stories]


class _BatchAdviser:
    """What the advice for units of one batch rests on."""

    def __init__(self, records: RecordsReader, story: UnitStory) -> None:
        version = records.one(kinds.TypeVersion, story.batch.entry.type_version_id).entry
        self.specification = version.specification
        self.kind = rework_kind(records, version)
        limit = limit_of(self.specification, STARTS)
        if limit is None or None in limit.bounds:
            raise InputError(
                f"type {version.name}: its specification has no two limits of start-to-open to"
                " aim between; rework cannot be advised"
            )
        self.limit = limit
        self.knowledge = type_knowledge(
            records, version, self.kind, limit, version.unit_type.nominal_start_to_open_c
        )

    def advise(self, story: UnitStory) -> UnitAdvice:
        """Return the advice for one unit of the batch."""
        done = len(list(_groups_of_doses(story, self.kind)))
        blank = UnitAdvice(story.unit.entry.serial, story.batch.entry.name, self.kind.unit, done)
        if story.moved_to is not None:
            return blank._replace(refusal=f"was taken into {story.moved_to} since: ask for that")
        told = [step for step in story.steps if step.result or step.rework]
        if not told:
            return blank._replace(refusal="not measured yet: measure it as found first")
        step = told[-1]
        if step.rework:
            return blank._replace(refusal=f"reworked on {step.date}: measure it first")
        value = step_value(self.limit, step)
        if value is None:
            assert step.content is not None
            reason = why_no_value(self.limit, step.content)
            return blank._replace(refusal=f"no start-to-open to go by: {reason}")
        return self._advise(blank, step, value)

    def _advise(self, blank: UnitAdvice, step: Step, value: Quantity) -> UnitAdvice:
        start_c = value.value
        assert start_c is not None
        lift_limit = limit_of(self.specification, (LIFT,))
        lift = step_value(lift_limit, step) if lift_limit else None
        acceptance = _acceptance(self.specification, self.limit, value, lift_limit, lift)
        with_limits = blank._replace(
            measured=value, acceptance_c=(acceptance.lower_c, acceptance.upper_c)
        )
        unit = Unit(
            blank.serial,
            start_c,
            math.sqrt(2) * value.u_without(SHARED_BY_RUNS),
            blank.rounds_done,
            lift.value if lift else None,
            math.sqrt(2) * lift.u_without(SHARED_BY_RUNS) if lift else USUAL_U_LIFT_MM,
        )
        try:
            advice = Adviser(self.kind, self.knowledge, acceptance).advise(unit)
        except InputError as error:
            return with_limits._replace(refusal=str(error))
        return with_limits._replace(advice=advice)


def rework_kind(records: RecordsReader, version: kinds.TypeVersion) -> Kind:
    """Return how units of a type can be reworked: as frozen, else as its newest version says.

    Raises InputError where the type is sealed or does not say.
    """
    found = version.rework_kind or newest_type(records, version.name).entry.rework_kind
    if found is None:
        raise InputError(
            f"type {version.name}: does not say how it can be reworked; add [rework] to its file"
            " with kind refillable, setting or sealed, and a higher version"
        )
    if isinstance(found, Sealed):
        raise InputError(f"type {version.name}: is sealed: measure only, nothing can be changed")
    return found


def type_knowledge(
    records: RecordsReader, version: kinds.TypeVersion, kind: Kind, limit: Limit, nominal_c: float
) -> Knowledge:
    """Return what all rounds on record of a type teach, on the physical prior."""
    sd = kind.dosing_sd_mg if isinstance(kind, Refillable) else kind.setting_sd_mm
    knowledge = Knowledge(kind.unit, nominal_c, sd)
    lift_limit = limit_of(version.specification, (LIFT,))
    for unit in records.current(kinds.Unit, unit_type=version.name):
        for story in unit_story(records, unit.entry.serial):
            knowledge.add(rounds_of(story, kind, limit, lift_limit))
    return knowledge


def rounds_of(
    story: UnitStory, kind: Kind, limit: Limit, lift_limit: Limit | None = None
) -> list[Round]:
    """Return a unit's rounds in one batch: measured, dosed and nothing else, measured again."""
    rounds = []
    for before, doses, after in _groups_of_doses(story, kind):
        if before is None or after is None or doses is None:
            continue
        first, second = step_value(limit, before), step_value(limit, after)
        if first is None or second is None:
            continue
        start_c, end_c = first.value, second.value
        assert start_c is not None
        assert end_c is not None
        lifts = [step_value(lift_limit, step) if lift_limit else None for step in (before, after)]
        rounds.append(
            Round(
                story.unit.entry.serial,
                start_c,
                doses,
                end_c,
                _u_shift_k(before, first, after, second),
                *(lift.value if lift else None for lift in lifts),
            )
        )
    return rounds


def _groups_of_doses(
    story: UnitStory, kind: Kind
) -> Iterator[tuple[Step | None, float | None, Step | None]]:
    """Yield each round: what was measured before, the sum of its doses, what was measured after.

    The sum is None where something else was changed too, which teaches nothing of a dose.
    """
    before: Step | None = None
    group: list[kinds.Rework] = []
    for step in story.steps:
        if step.rework is not None:
            group.append(step.rework.entry)
        elif step.result is not None:
            yield from _group(before, group, step, kind)
            before, group = step, []
    yield from _group(before, group, None, kind)


def _group(
    before: Step | None, group: Sequence[kinds.Rework], after: Step | None, kind: Kind
) -> Iterator[tuple[Step | None, float | None, Step | None]]:
    wanted = DOSED_BY[kind.kind]
    if any(rework.kind == wanted for rework in group):
        amounts = [rework.amount for rework in group if rework.kind == wanted]
        pure = len(amounts) == len(group) and None not in amounts
        yield before, sum(a for a in amounts if a is not None) if pure else None, after


def _u_shift_k(before: Step, first: Quantity, after: Step, second: Quantity) -> float:
    """Return the standard uncertainty of a shift; what both runs share cancels on one bench."""
    benches = {step.loading.entry.bench for step in (before, after) if step.loading}
    shared = SHARED_BY_RUNS if len(benches) == 1 else ()
    return math.hypot(first.u_without(shared), second.u_without(shared))


def _acceptance(
    specification: Specification,
    limit: Limit,
    value: Quantity,
    lift_limit: Limit | None,
    lift: Quantity | None,
) -> Acceptance:
    low, high = acceptance_limits(limit, value.expanded_uncertainty or 0.0, specification.rule)
    assert low is not None
    assert high is not None
    lifts: tuple[float | None, float | None] = (None, None)
    if lift_limit and lift:
        lifts = acceptance_limits(lift_limit, lift.expanded_uncertainty or 0.0, specification.rule)
    return Acceptance(low, high, *lifts)
