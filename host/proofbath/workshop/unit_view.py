"""A unit's whole history as one object: batches, nights, rework, decisions, certificates, logs."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Literal

from proofbath.curve.content import ResultContent
from proofbath.curve.current_rows import HEADINGS, current_rows
from proofbath.curve.current_shapes import Shape, shapes_of
from proofbath.description import Described
from proofbath.quantity.levels import OPENING
from proofbath.quantity.quantity import Quantity, is_quantity
from proofbath.quantity.words import WORDS
from proofbath.store.kinds import (
    Batch,
    Decision,
    HandMeasurement,
    Intake,
    ReferenceUnit,
    ServiceLog,
    TypeVersion,
    Unit,
)
from proofbath.store.records import Kept, RecordsReader
from proofbath.workshop.entry import day_of
from proofbath.workshop.findings import usual_quantities, warnings_in
from proofbath.workshop.issued import IssuedLine, certificates_of
from proofbath.workshop.orders import order_of, ordered_in_words
from proofbath.workshop.rework_words import rework_in_words
from proofbath.workshop.snapshot import Snapshot
from proofbath.workshop.story import Step, StepStage, UnitStory, unit_story
from proofbath.workshop.value_shapes import Stated, StatedByHand

_ORDER = tuple(WORDS)
_HAND = ("start_to_open_c", "shift_k_per_w")
_STARTS = ("start_to_open_c", "unpowered_start_to_open_c")


class StepView(Described):
    """One thing that happened to a unit in a batch: a measurement, or a rework in words."""

    stage: StepStage
    date: dt.date
    rework: str | None = None
    bench: str | None = None
    station: int | None = None
    retest_cause: str | None = None
    run: int | None = None
    status: str = ""
    results: tuple[Stated, ...] = ()
    currents: tuple[tuple[str, ...], ...] = ()
    """What a heated unit did at each current, as texts under `current_headings`."""
    current_headings: tuple[str, ...] = ()
    current_pictures: tuple[Shape, ...] = ()
    """Which of the two pictures at set currents there are."""
    reason: str | None = None
    """Why no start-to-open was found."""
    warnings: tuple[str, ...] = ()


class DecisionView(Described):
    """What was decided of a unit's result; `probability` of conformity is a lower bound."""

    day: dt.date
    outcome: str
    rule: str
    probability: float | None
    reason: str
    agreement: str


class IntakeView(Described):
    """How a unit came in, and what was found on it."""

    number: int
    cause: str
    findings: dict[str, str | float | None]
    accepted: bool
    remark: str


class BatchVisit(Described):
    """A unit's way through one batch; steps in the order in which they happened."""

    number: int
    batch: str
    customer: str
    received: dt.date
    intake: IntakeView
    steps: tuple[StepView, ...]
    decisions: tuple[DecisionView, ...]
    certificate: str | None
    """The certificate of this batch that stands."""
    order: str = ""
    """What was ordered of it, apart from its marking; else empty."""
    ordered: dt.date | None = None
    """Day that this was put on record."""


class CertificateLine(Described):
    """A certificate and what became of it; `doubts` put one that stands in doubt."""

    number: str
    serial: str
    batch: str
    issued: dt.date
    state: Literal["valid", "withdrawn", "replaced"]
    document: str
    """The withdrawal, or the successor."""
    why: str
    doubts: tuple[str, ...] = ()


class HandView(Described):
    """A hand measurement: it stays with the unit and certifies nothing."""

    number: int
    date: dt.date
    stage: str
    start_to_open_c: StatedByHand
    shift_k_per_w: StatedByHand


class LogLine(Described):
    """An engine's log on record."""

    number: int
    fitted: dt.date
    engine: str


class ReferenceWord(Described):
    """When a unit became a reference unit, or ceased to be one."""

    since: dt.date
    in_use: bool
    text: str


class UnitHistory(Described):
    """Everything on record of a unit, oldest first."""

    number: int
    serial: str
    unit_type: str
    description: str
    customer_mark: str
    supplier_lot: str | None
    batches: tuple[BatchVisit, ...]
    certificates: tuple[CertificateLine, ...]
    hand_measurements: tuple[HandView, ...]
    service_logs: tuple[LogLine, ...]
    reference: tuple[ReferenceWord, ...]


class UnitLine(Described):
    """A unit with its last batch, and the newest certificate that stands."""

    serial: str
    unit_type: str
    description: str
    customer_mark: str
    supplier_lot: str | None
    batch: str | None
    batch_number: int | None
    certificate: str | None


def unit_history(records: RecordsReader, serial: str) -> UnitHistory:
    """Return everything on record of a unit; raises InputError for an unknown one."""
    unit = records.find(Unit, serial=serial)
    mine = {"unit_id": unit.root}
    return UnitHistory(
        number=unit.root,
        **unit.entry.model_dump(),
        batches=tuple(_visit(records, story) for story in unit_story(records, serial)),
        certificates=tuple(
            certificate_line(line) for line in certificates_of(records, serial=serial)
        ),
        hand_measurements=tuple(_hand(kept) for kept in records.current(HandMeasurement, **mine)),
        service_logs=tuple(
            LogLine(number=kept.root, fitted=kept.entry.fitted, engine=kept.entry.engine)
            for kept in records.current(ServiceLog, **mine)
        ),
        reference=tuple(
            ReferenceWord(since=k.entry.since, in_use=k.entry.in_use, text=k.entry.text)
            for k in records.current(ReferenceUnit, **mine)
        ),
    )


def units_listed(
    records: RecordsReader, unit_type: str | None = None, batch: str | None = None, search: str = ""
) -> list[UnitLine]:
    """Return the units on record, those of a type or batch or whose serial holds `search`.

    Raises InputError for a batch that is not on record.
    """
    kept_once = Snapshot(records)
    only = kept_once.find(Batch, name=batch).root if batch else None
    batches = {kept.root: kept.entry.name for kept in kept_once.current(Batch)}
    came: dict[int, list[int]] = {}
    for intake in kept_once.current(Intake):
        came.setdefault(intake.entry.unit_id, []).append(intake.entry.batch_id)
    numbers = {c.serial: c.number for c in certificates_of(kept_once) if c.state == "valid"}
    units = []
    for unit in kept_once.current(Unit):
        mine = came.get(unit.root, [])
        wrong_type = unit_type not in (None, unit.entry.unit_type)
        if wrong_type or (only is not None and only not in mine):
            continue
        if search.lower() not in f"{unit.entry.serial} {unit.entry.customer_mark}".lower():
            continue
        units.append(
            UnitLine(
                **unit.entry.model_dump(),
                batch=batches[mine[-1]] if mine else None,
                batch_number=mine[-1] if mine else None,
                certificate=numbers.get(unit.entry.serial),
            )
        )
    return units


def certificate_line(line: IssuedLine, doubts: tuple[str, ...] = ()) -> CertificateLine:
    """Return a certificate as it is shown."""
    shown = ("number", "serial", "batch", "issued", "state", "document", "why")
    return CertificateLine(**{name: getattr(line, name) for name in shown}, doubts=doubts)


def values_in(content: ResultContent) -> tuple[Quantity, ...]:
    """Return the values of a result in the order in which they are shown."""
    return tuple(sorted(usual_quantities(content), key=lambda one: _ORDER.index(one.name)))


def start_in(values: Sequence[Quantity]) -> Quantity | None:
    """Return the start-to-open among values, the unpowered one of a heated unit."""
    return next((value for value in values if value.name in _STARTS), None)


def _visit(records: RecordsReader, story: UnitStory) -> BatchVisit:
    intake, order = story.intake, order_of(records, story)
    ordered = None if order is None else order.entry.ordered
    version = records.one(TypeVersion, story.batch.entry.type_version_id).entry
    keys = {"unit_id": story.unit.root, "batch_id": story.batch.root}
    return BatchVisit(
        number=story.batch.root,
        batch=story.batch.entry.name,
        customer=story.batch.entry.customer,
        received=story.batch.entry.received,
        intake=IntakeView(
            number=intake.root,
            **intake.entry.model_dump(mode="json", exclude={"unit_id", "batch_id"}),
        ),
        steps=tuple(_step(step, ordered.lift_mm if ordered else None) for step in story.steps),
        decisions=tuple(_decision(kept) for kept in records.current(Decision, **keys)),
        certificate=story.certificate,
        order=ordered_in_words(ordered, version.unit_type.threshold_mm) if ordered else "",
        ordered=day_of(order.at) if order else None,
    )


def _step(step: Step, ordered_mm: float | None) -> StepView:
    if step.rework:
        words = rework_in_words(step.rework.entry)
        return StepView(stage=step.stage, date=step.date, rework=words)
    run = step.station_run.entry if step.station_run else None
    loading = step.loading.entry if step.loading else None
    content = step.content
    rows = [] if content is None else current_rows(content.curve)
    return StepView(
        stage=step.stage,
        date=step.date,
        bench=loading.bench if loading else None,
        station=loading.station if loading else None,
        retest_cause=loading.retest_cause if loading else None,
        run=run.run_id if run else None,
        status=run.status if run else "loaded, no run of it on record",
        results=() if content is None else (*values_in(content), *_level(content, ordered_mm)),
        currents=tuple(row.cells() for row in rows),
        current_headings=HEADINGS if rows else (),
        current_pictures=() if content is None else shapes_of(content.curve),
        reason=None if content is None else _why_none(content),
        warnings=() if content is None else warnings_in(content),
    )


def _level(content: ResultContent, ordered_mm: float | None) -> tuple[Quantity, ...]:
    """Return where the ordered lift was passed, beside the values that are always shown."""
    levels = content.curve.series.get(OPENING, ())
    return tuple(one for one in levels if one.threshold_mm == ordered_mm)


def _why_none(content: ResultContent) -> str | None:
    """Return why no start-to-open was found, None where there is one."""
    found = content.curve.quantities
    starts = [found[name] for name in _STARTS if name in found]
    if not starts or any(start.value is not None for start in starts):
        return None
    return starts[0].reason


def _decision(kept: Kept[Decision]) -> DecisionView:
    entry = kept.entry
    return DecisionView(
        day=dt.date.fromisoformat(kept.at[:10]),
        outcome=entry.outcome,
        rule=entry.rule,
        probability=entry.probability,
        reason=entry.content.get("reason", ""),
        agreement=entry.agreement_customer,
    )


def _hand(kept: Kept[HandMeasurement]) -> HandView:
    told = kept.entry.content
    known = (name for name in _HAND if is_quantity(told.get(name)))
    stated = {name: Quantity.from_json(told[name], name) for name in known}
    values = dict.fromkeys(_HAND, Quantity(None)) | stated
    return HandView(number=kept.root, date=kept.entry.date, stage=kept.entry.stage, **values)
