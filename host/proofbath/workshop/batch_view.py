"""Batches as they are shown: who passed, why not, and what comes next."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from enum import Enum

from proofbath.certificate.words import plain, span
from proofbath.description import Described
from proofbath.proof.decision import Outcome
from proofbath.proof.specification import Limit
from proofbath.quantity.quantity import Quantity
from proofbath.quantity.words import unit_of
from proofbath.run.unit_type import UnitType
from proofbath.store.kinds import Batch, Intake, TypeVersion
from proofbath.store.records import RecordsReader
from proofbath.workshop.contents import content_of
from proofbath.workshop.findings import warnings_in
from proofbath.workshop.issued import certificates_of
from proofbath.workshop.judging import Judged, judge_batch
from proofbath.workshop.measured_values import value_of
from proofbath.workshop.next_step import NextStep
from proofbath.workshop.orders import batch_order, by_order, ordered_in_words
from proofbath.workshop.shop import ShopView
from proofbath.workshop.snapshot import Snapshot
from proofbath.workshop.story import BY_PERSON, StepStage
from proofbath.workshop.unit_view import start_in, values_in
from proofbath.workshop.value_shapes import Stated

FAILED_BY_PERSON = "failed by a person"
FAILED = (Outcome.FAIL.value, Outcome.CONDITIONAL_FAIL.value, FAILED_BY_PERSON)


class JudgedUnit(Described):
    """A unit of a batch judged on a day; `refusals` say why it gets no certificate now."""

    serial: str
    accepted: bool
    as_found: tuple[Stated, ...]
    as_left: tuple[Stated, ...]
    outcome: str | None
    """Null while nothing was measured on the unit as it is now."""
    reasons: tuple[str, ...]
    probability: float | None
    """Lower bound of the chance that all limited quantities conform."""
    deviation_k: float | None
    """What was ordered of the unit as it is now, minus the temperature wanted; the start-to-open
    minus the type's nominal where nothing was ordered."""
    deviation_u_k: float | None
    """Expanded uncertainty of it, about 95 %."""
    warnings: tuple[str, ...]
    certificate: str | None
    refusals: tuple[str, ...]
    next_step: str
    """What to do with it, in words."""
    next_code: NextStep
    """The same for programs."""
    next_about: str
    """The batch, the certificate or the reason that the step is about; else empty."""
    order: str = ""
    """What was ordered of this unit alone; else empty."""
    ordered: Stated | None = None
    """What it does of what was ordered, as it is now."""

    @property
    def failed(self) -> bool:
        """Whether it was judged to fail."""
        return self.outcome in FAILED


class BatchView(Described):
    """A batch with its units, judged by the version of its type that was frozen to it."""

    number: int
    batch: str
    customer: str
    customer_address: tuple[str, ...]
    customer_contact: str
    received: dt.date
    type: str
    version: int
    nominal_start_to_open_c: float
    limits: tuple[str, ...]
    units: tuple[JudgedUnit, ...]
    order: str = ""
    """What was ordered of the batch, apart from the type's marking; else empty."""
    set_aside: tuple[str, ...] = ()
    """Limits of the marking that the batch is not judged by then."""


class BatchLine(Described):
    """A batch as listed: how many units, refused ones, and certificates that stand."""

    number: int
    batch: str
    customer: str
    received: dt.date
    type: str
    version: int
    units: int
    refused: int
    certified: int


def batch_view(shop: ShopView, name: str, on: dt.date) -> BatchView:
    """Return a batch judged on a day; writes nothing; raises InputError for an unknown one."""
    kept = shop.records.find(Batch, name=name)
    version = shop.records.one(TypeVersion, kept.entry.type_version_id).entry
    nominal_c = version.unit_type.nominal_start_to_open_c
    asked = by_order(version, batch_order(shop.records, kept))
    threshold_mm = version.unit_type.threshold_mm
    batch = kept.entry
    return BatchView(
        number=kept.root,
        batch=batch.name,
        customer=batch.customer,
        customer_address=batch.customer_address,
        customer_contact=batch.customer_contact,
        received=batch.received,
        type=version.name,
        version=version.version,
        nominal_start_to_open_c=nominal_c,
        limits=tuple(map(_limit_text, asked.specification.limit)),
        units=tuple(judged_view(unit, version.unit_type) for unit in judge_batch(shop, name, on)),
        order=ordered_in_words(asked.order.entry.ordered, threshold_mm) if asked.order else "",
        set_aside=tuple(map(_limit_text, asked.set_aside)),
    )


def _limit_text(limit: Limit) -> str:
    return f"{limit.called()}: {limits_text(limit)} {unit_of(limit.quantity)}"


def batches_listed(records: RecordsReader) -> list[BatchLine]:
    """Return the batches on record, the last one first."""
    once = Snapshot(records)
    versions = {kept.root: kept.entry for kept in once.current(TypeVersion)}
    standing = [line.batch for line in certificates_of(once) if line.state == "valid"]
    listed = []
    for kept in reversed(once.current(Batch)):
        intakes = once.current(Intake, batch_id=kept.root)
        version = versions[kept.entry.type_version_id]
        listed.append(
            BatchLine(
                number=kept.root,
                batch=kept.entry.name,
                customer=kept.entry.customer,
                received=kept.entry.received,
                type=version.name,
                version=version.version,
                units=len(intakes),
                refused=sum(not intake.entry.accepted for intake in intakes),
                certified=standing.count(kept.entry.name),
            )
        )
    return listed


def judged_view(unit: Judged, unit_type: UnitType) -> JudgedUnit:
    """Return a judged unit as it is shown."""
    story, verdict, decision = unit.story, unit.verdict, unit.decision
    by_person = decision is not None and decision.entry.rule == BY_PERSON
    content = content_of(unit.result) if unit.result else None
    order = unit.asked.order
    if order is None:
        nominal_c = unit_type.nominal_start_to_open_c
        start = start_in(values_in(content)) if content else None
    else:
        nominal_c = order.entry.ordered.wanted_c
        start = value_of(unit.asked.specification.limit[0], content) if content else None
    off_k = start.value - nominal_c if start and start.value is not None else None
    own = order is not None and order.entry.unit_id is not None
    return JudgedUnit(
        serial=story.unit.entry.serial,
        accepted=story.intake.entry.accepted,
        as_found=_values(unit, "as-found"),
        as_left=_values(unit, "as-left"),
        outcome=FAILED_BY_PERSON if by_person else verdict and verdict.outcome.value,
        reasons=verdict.reasons if verdict else (),
        probability=verdict and verdict.probability_at_least,
        deviation_k=off_k,
        deviation_u_k=start.expanded_uncertainty if start and off_k is not None else None,
        warnings=warnings_in(content) if content else (),
        certificate=story.certificate,
        refusals=unit.refusals,
        next_step=unit.next_step.words,
        next_code=unit.next_step.step,
        next_about=unit.next_step.about,
        order=ordered_in_words(order.entry.ordered, unit_type.threshold_mm)
        if order and own
        else "",
        ordered=start if order else None,
    )


class Standing(Enum):
    """Where a unit of a batch stands; the value says it."""

    CERTIFIED = "certified"
    PASSED = "passed, not certified yet"
    FAILED = "failed"
    NOT_MEASURED = "not measured yet"
    REFUSED = "refused at intake"


def counted(units: Sequence[JudgedUnit]) -> dict[Standing, int]:
    """Return how many units stand where."""
    return {
        Standing.CERTIFIED: sum(unit.certificate is not None for unit in units),
        Standing.PASSED: sum(
            unit.outcome == Outcome.PASS.value and not unit.certificate for unit in units
        ),
        Standing.FAILED: sum(unit.failed for unit in units),
        Standing.NOT_MEASURED: sum(unit.accepted and unit.outcome is None for unit in units),
        Standing.REFUSED: sum(not unit.accepted for unit in units),
    }


def limits_text(limit: Limit) -> str:
    """Return a limit's bounds in words."""
    if limit.nominal is not None and limit.tolerance is not None:
        return f"{plain(limit.nominal)} ± {plain(limit.tolerance)}"
    low, high = (None if bound is None else plain(bound) for bound in limit.bounds)
    return span(low, high)


def _values(unit: Judged, stage: StepStage) -> tuple[Quantity, ...]:
    step = unit.story.counting(stage)
    return values_in(step.content) if step and step.content else ()
