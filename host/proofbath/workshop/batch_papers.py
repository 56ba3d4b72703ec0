"""Papers of a whole batch: its summary on two sheets or more, and the labels of its units."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import closing
from pathlib import Path

from proofbath.certificate.atomic import write_over
from proofbath.certificate.batch import BatchRow, BatchSummary, Night
from proofbath.certificate.conformity import limit_in_words
from proofbath.certificate.evidence import Branch
from proofbath.certificate.label import labels_pdf
from proofbath.certificate.plot import last_cycle
from proofbath.certificate.results import Result, result_of
from proofbath.errors import InputError
from proofbath.proof.chart import Chart
from proofbath.proof.decision import Outcome
from proofbath.proof.specification import Specification
from proofbath.proof.verdict import judge
from proofbath.quantity.levels import OPENING
from proofbath.store import kinds
from proofbath.store.journal import Journal
from proofbath.store.records import RecordsReader, Stamp
from proofbath.workshop.charts import probe_chart_of, reference_chart_of
from proofbath.workshop.desk import as_document, open_desk
from proofbath.workshop.findings import results_like, usual_quantities
from proofbath.workshop.issued import IssuedLine, certificates_of, pdf_path
from proofbath.workshop.judging import Judged, judge_batch
from proofbath.workshop.measured_values import STARTS
from proofbath.workshop.orders import batch_order, by_order, ordered_in_words
from proofbath.workshop.parties import customer_of, one_line
from proofbath.workshop.rework_words import rework_in_words
from proofbath.workshop.run_evidence import RunEvidence
from proofbath.workshop.run_shelf import RunShelf
from proofbath.workshop.shop import Shop
from proofbath.workshop.story import Step

CURVE_POINTS = 60


def batch_summary(
    shop: Shop, batch_name: str, stamp: Stamp, passphrase: bytes | None = None
) -> Path:
    """Issue the summary of a batch as it stands and return its PDF; raises InputError."""
    batch = shop.records.find(kinds.Batch, name=batch_name)
    version = shop.records.one(kinds.TypeVersion, batch.entry.type_version_id).entry
    asked = by_order(version, batch_order(shop.records, batch))
    limits, threshold_mm = asked.specification, version.unit_type.threshold_mm
    with (
        open_desk(shop, stamp, passphrase) as desk,
        closing(Journal(shop.records.place)) as journal,
    ):
        judged = judge_batch(shop, batch_name, stamp.day)
        if not judged:
            raise InputError(f"batch {batch_name}: no unit was taken in; take units in first")
        issued = certificates_of(shop.records, batch=batch_name)
        runs = _runs(RunShelf(shop.records, journal), judged)
        rows = tuple(_row(each, threshold_mm, issued, runs) for each in judged)
        nights = tuple(_night(shop.records, runs[run]) for run in sorted(runs))
        simulated = any(run.is_simulated for run in runs.values())

        def written(number: str) -> BatchSummary:
            return BatchSummary(
                number=number,
                workshop=shop.file.workshop,
                customer=customer_of(batch.entry),
                batch=batch_name,
                unit_type=version.name,
                specification_version=version.version,
                limits=tuple(limit_in_words(limit) for limit in limits.limit),
                order=one_line(ordered_in_words(asked.order.entry.ordered, threshold_mm))
                if asked.order
                else "",
                not_judged_by=tuple(map(limit_in_words, asked.set_aside)),
                received=batch.entry.received,
                issued=stamp.day,
                row=rows,
                nights=nights,
                powered_curve=version.unit_type.kind == "heater-assisted",
                simulated=simulated,
                authorised_by=desk.signer.person,
            )

        return pdf_path(shop, desk.issue(written, as_document("summary", batch_name)).number)


def batch_labels(shop: Shop, batch_name: str) -> Path:
    """Write the labels of a batch's certificates that stand, one a page, and return the PDF.

    Raises InputError where there is none, RecordError where a document was changed.
    """
    batch = shop.records.find(kinds.Batch, name=batch_name)
    standing = [
        line for line in certificates_of(shop.records, batch=batch_name) if line.state == "valid"
    ]
    if not standing:
        raise InputError(f"batch {batch_name}: has no certificate that stands; certify it first")
    files = [pdf_path(shop, line.number).with_suffix(".json") for line in standing]
    missing = [file.name for file in files if not file.exists()]
    if missing:
        raise InputError(
            f"{shop.certificates}: {', '.join(missing)} missing; restore it from the backup"
        )
    path = shop.certificates / f"labels-batch-{batch.root}.pdf"
    write_over(path, labels_pdf([file.read_bytes() for file in files]))
    return path


def _steps(judged: Sequence[Judged]) -> list[Step]:
    return [step for each in judged for step in each.story.steps if step.station_run is not None]


def _runs(shelf: RunShelf, judged: Sequence[Judged]) -> dict[int, RunEvidence]:
    """Return the batch's runs by number."""
    found = dict[int, RunEvidence]()
    for step in _steps(judged):
        if step.station_run is not None:
            ids = step.result.entry.calibration_ids if step.result else ()
            run_id = step.station_run.entry.run_id
            found.setdefault(run_id, shelf.evidence(run_id, ids))
    return found


def _row(
    judged: Judged,
    threshold_mm: float,
    issued: Sequence[IssuedLine],
    runs: dict[int, RunEvidence],
) -> BatchRow:
    story, serial = judged.story, judged.story.unit.entry.serial
    left = story.counting("as-left") or story.present
    line = next((each for each in reversed(issued) if each.serial == serial), None)
    limits, order = judged.asked.specification, judged.asked.order
    own = order if order and order.entry.unit_id is not None else None
    reworks = [rework_in_words(step.rework.entry) for step in story.steps if step.rework]
    return BatchRow(
        serial=serial,
        as_found=_value(story.counting("as-found"), limits),
        rework=one_line("; ".join(reworks)),
        as_left=_value(left, limits),
        outcome=_outcome(judged),
        certificate=line.number if line else None,
        reason="" if line else one_line(_reason(judged)),
        withdrawn_by=line.document if line and line.state != "valid" else None,
        curve=_curve(left, runs),
        order=one_line(ordered_in_words(own.entry.ordered, threshold_mm)) if own else "",
    )


def _value(step: Step | None, limits: Specification) -> Result | None:
    """Return what a measurement says of the first limit's quantity, in its form.

    Where it shows no such lift, its start-to-open stands there.
    """
    content = step.content if step else None
    if content is None:
        return None
    first = limits.model_copy(update={"limit": limits.limit[:1]})
    found = results_like(content, judge(first, []))
    if found or limits.limit[0].quantity != OPENING:
        return found[0] if found else None
    starts = (one for one in usual_quantities(content) if one.name in STARTS)
    return next(map(result_of, starts), None)


def _curve(step: Step | None, runs: dict[int, RunEvidence]) -> tuple[Branch, ...]:
    if step is None or step.station_run is None:
        return ()
    run = step.station_run.entry
    return last_cycle(runs[run.run_id].curves.get(run.station, ()), CURVE_POINTS)


def _reason(judged: Judged) -> str:
    """Why a unit has no certificate, as a customer reads it: its values first."""
    failed = []
    if judged.verdict is not None:
        for decision in judged.verdict.decisions:
            if decision.outcome in (Outcome.FAIL, Outcome.CONDITIONAL_FAIL) and decision.measured:
                limit = limit_in_words(decision.limit)
                failed.append(f"{limit}; found {decision.measured.value:.4g}")
    return "; ".join(failed or judged.refusals or (judged.next_step.words,))


def _outcome(judged: Judged) -> str:
    if not judged.story.intake.entry.accepted:
        return "refused at intake"
    if judged.decision is not None:
        return judged.decision.entry.outcome
    return judged.verdict.outcome.value if judged.verdict else "not measured"


def _night(records: RecordsReader, run: RunEvidence) -> Night:
    serial, bench_name = run.reference_serial(), run.bench.bench.name
    reference = (
        None if serial is None else reference_chart_of(records, bench_name, serial, run.run_id)
    )
    point = reference.points[-1] if reference and reference.points else None
    return Night(
        run=run.called,
        date=run.started,
        bench=bench_name,
        stage=run.plan.stage,
        serial=serial or "none",
        value_c=point.value if point else None,
        centre_c=point.centre if point else None,
        limit_k=point.half_width if point else None,
        chart=_state(reference) if reference else "no reference unit",
        probes=_state(probe_chart_of(records, bench_name, run.run_id)),
    )


def _state(chart: Chart) -> str:
    if not chart.points:
        return "no value"
    if chart.blocked:
        return one_line(chart.blocked)
    return "in control, limits provisional" if chart.provisional else "in control"
