"""A certificate put together from what is on record: nothing in it is measured or decided here."""

from __future__ import annotations

import datetime as dt
from typing import NamedTuple

from proofbath.certificate.conformity import Order, conformity_of
from proofbath.certificate.content import Certificate, Dates, Replaces
from proofbath.certificate.evidence import Method
from proofbath.certificate.parties import Person
from proofbath.errors import InputError
from proofbath.proof.verdict import Agreement, Verdict
from proofbath.store import kinds
from proofbath.store.records import Kept, RecordsReader
from proofbath.workshop.contents import content_of
from proofbath.workshop.findings import results_as_left, warnings_in
from proofbath.workshop.history import calibrations_of, history_of
from proofbath.workshop.judging import Judged
from proofbath.workshop.orders import AsJudged, ordered_in_words
from proofbath.workshop.parties import customer_of, one_line, person_of, unit_of
from proofbath.workshop.run_evidence import RunEvidence, conditions_of, deviations_of
from proofbath.workshop.run_shelf import RunShelf
from proofbath.workshop.shop import Shop
from proofbath.workshop.story import Step, UnitStory


class Certifiable(NamedTuple):
    """A unit whose certificate may be written."""

    story: UnitStory
    step: Step
    loading: Kept[kinds.Loading]
    station_run: Kept[kinds.StationRun]
    result: Kept[kinds.Result]
    verdict: Verdict
    decision: Kept[kinds.Decision]
    asked: AsJudged


def certifiable(judged: Judged) -> Certifiable:
    """Return what a certificate needs of a judged unit; raises InputError with what is missing."""
    if judged.refusals:
        raise InputError(*judged.refusals)
    result, decision, verdict = judged.result, judged.decision, judged.verdict
    if result is None or decision is None or verdict is None:
        raise InputError("is not judged yet")
    for step in judged.story.steps:
        if step.result is not None and step.result.root == result.root:
            assert step.loading is not None
            assert step.station_run is not None
            return Certifiable(
                judged.story,
                step,
                step.loading,
                step.station_run,
                result,
                verdict,
                decision,
                judged.asked,
            )
    raise InputError(f"result {result.root} is not of this batch")


def certificate_content(
    shop: Shop,
    runs: RunShelf,
    unit: Certifiable,
    *,
    number: str,
    on: dt.date,
    authorised_by: Person,
    replaces: Replaces | None = None,
) -> Certificate:
    """Return the content of a unit's certificate; raises InputError or ValueError where refused."""
    batch, result = unit.story.batch.entry, unit.result.entry
    content = content_of(unit.result)
    station = unit.station_run.entry.station
    run = runs.evidence(unit.station_run.entry.run_id, result.calibration_ids)
    return Certificate(
        number=number,
        workshop=shop.file.workshop,
        customer=customer_of(batch),
        unit=unit_of(unit.story),
        dates=Dates(
            received=batch.received, measured_from=run.started, measured_to=run.ended, issued=on
        ),
        method=Method(deviations=_deviations(unit, run), program=result.program),
        conditions=conditions_of(run, station, shop.file.workshop),
        results=results_as_left(content, unit.verdict),
        conformity=conformity_of(
            unit.verdict,
            unit.verdict.specification.rule,
            agreement_of(unit.decision.entry),
            order_for(shop.records, unit.story, unit.asked),
        ),
        history=history_of(unit.story, unit.verdict),
        calibrations=calibrations_of(shop.records, result.calibration_ids, station),
        reference_unit=runs.reference(run),
        curve=run.curves.get(station, ()),
        at_currents=run.at_currents.get(station),
        remarks=_remarks(unit),
        supplied_by_customer=_from_customer(unit.story),
        measured_by=person_of(shop.records, unit.loading, "bench operator"),
        authorised_by=authorised_by,
        replaces=replaces,
        powered_curve=run.is_powered,
        simulated=run.is_simulated,
    )


def order_for(records: RecordsReader, story: UnitStory, asked: AsJudged) -> Order | None:
    """Return what was ordered of a unit as its certificate states it."""
    if asked.order is None:
        return None
    version = records.one(kinds.TypeVersion, story.batch.entry.type_version_id).entry
    words = ordered_in_words(asked.order.entry.ordered, version.unit_type.threshold_mm)
    return Order(one_line(words), asked.set_aside, version.specification)


def agreement_of(decision: kinds.Decision) -> Agreement | None:
    """Return the customer's recorded agreement to a conditional pass."""
    if not decision.agreement_record.strip():
        return None
    return Agreement(one_line(decision.agreement_customer), one_line(decision.agreement_record))


def _deviations(unit: Certifiable, run: RunEvidence) -> str:
    found = deviations_of(run)
    loading = unit.loading.entry
    if loading.retest_cause is not None:
        found.append(f"second measurement, because of {loading.retest_cause}")
    return one_line("; ".join(found) or "none")


def _remarks(unit: Certifiable) -> tuple[str, ...]:
    corrected = unit.result.reason
    again = (f"Results computed again from the same raw data: {corrected}",) if corrected else ()
    return tuple(map(one_line, (*again, *warnings_in(content_of(unit.result)))))


def _from_customer(story: UnitStory) -> tuple[str, ...]:
    mark = one_line(story.unit.entry.customer_mark)
    return (f"the mark {mark}",) if mark else ()
