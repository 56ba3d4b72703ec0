"""A unit's way through the workshop as a certificate tells it, and what its results rest on."""

from __future__ import annotations

from collections.abc import Mapping

from proofbath.certificate.evidence import Calibration, ReferenceUnit, Stage, State
from proofbath.certificate.results import Result, result_of
from proofbath.curve.content import ResultContent
from proofbath.errors import InputError
from proofbath.proof.chart import Chart
from proofbath.proof.verdict import Verdict
from proofbath.quantity.levels import OPENING
from proofbath.store import kinds
from proofbath.store.records import Kept, RecordsReader
from proofbath.workshop.charts import probe_chart_of, reference_chart_of
from proofbath.workshop.findings import results_like, usual_quantities
from proofbath.workshop.measured_values import STARTS
from proofbath.workshop.parties import one_line
from proofbath.workshop.rework_words import rework_in_words
from proofbath.workshop.run_evidence import RunEvidence
from proofbath.workshop.story import Step, UnitStory

ITEMS: Mapping[str, str] = {
    "probe": "Bath and guard probe",
    "gauge": "Lift gauge, station {}",
    "element": "Element channel, station {}",
    "blank": "Fixture (solid bar), station {}",
}


def history_of(story: UnitStory, verdict: Verdict) -> tuple[Stage, ...]:
    """Return every step of a story in order; values in the forms that the limits ask for."""
    counting = {
        id(step) for stage in ("as-found", "as-left") if (step := story.counting(stage)) is not None
    }
    return tuple(
        stage
        for step in story.steps
        if (stage := _stage(step, verdict, id(step) in counting)) is not None
    )


def _stage(step: Step, verdict: Verdict, counts: bool) -> Stage | None:
    if step.rework is not None:
        return Stage(stage="rework", date=step.date, text=rework_in_words(step.rework.entry))
    if step.station_run is None or step.loading is None:
        return None  # a night that never began
    run = step.station_run.entry
    return Stage(
        stage=step.stage,
        date=step.date,
        text=one_line(_measured_in_words(step, counts)),
        run=f"run {run.run_id}, station {run.station}",
        results=_results(step.content, verdict) if step.content else (),
    )


def _results(content: ResultContent, verdict: Verdict) -> tuple[Result, ...]:
    """Return what the limits ask for, and the start-to-open beside a lift that was ordered."""
    asked = results_like(content, verdict)
    if not verdict.specification.of(OPENING):
        return asked
    starts = [one for one in usual_quantities(content) if one.name in STARTS]
    beside = starts[-1:]  # one without power stands over all rises
    return (*asked, *map(result_of, beside))


def _measured_in_words(step: Step, counts: bool) -> str:
    assert step.station_run is not None
    assert step.loading is not None
    parts = {
        "as-found": ["as received, nothing changed"],
        "as-left": ["as it leaves the workshop"],
        "trial": ["a trial; it decides nothing"],
    }[step.stage]
    if step.loading.entry.retest_cause is not None:
        cause = step.loading.entry
        parts.append(f"measured once more because of {cause.retest_cause}: {cause.cause_record}")
    if not step.done:
        parts.append(f"the run ended early ({step.station_run.entry.status})")
    if step.stage != "trial" and not counts:
        parts.append("does not count: measured again, or reworked since")
    return "; ".join(parts)


def calibrations_of(
    records: RecordsReader, calibration_ids: tuple[int, ...], station: int
) -> tuple[Calibration, ...]:
    """Return the calibrations that a station's result rests on; raises InputError for none."""
    here = (records.current(kinds.Calibration, station=number) for number in (0, station))
    mine = [kept for found in here for kept in found if kept.root in calibration_ids]
    if not mine:
        raise InputError("its result rests on no calibration on record; calibrate and recompute")
    order = list(ITEMS)
    mine.sort(key=lambda k: order.index(k.entry.kind))
    return tuple(_calibration(records, k) for k in mine)


def _calibration(records: RecordsReader, kept: Kept[kinds.Calibration]) -> Calibration:
    entry = kept.entry
    by = "not on record" if kept.by is None else records.one(kinds.Person, kept.by).entry.name
    return Calibration(
        item=ITEMS[entry.kind].format(entry.station),
        reference=entry.reference,
        uncertainty=entry.uncertainty.removeprefix("U "),
        calibrated=entry.done,
        due=entry.due,
        by=by,
    )


def reference_of(records: RecordsReader, run: RunEvidence) -> ReferenceUnit:
    """Return the reference unit of a run and both charts; raises InputError where they block."""
    serial, bench_name = run.reference_serial(), run.bench.bench.name
    if serial is None:
        raise InputError(f"{run.called}: had no reference unit; measure again with one")
    chart = reference_chart_of(records, bench_name, serial, run.run_id)
    if not chart.points:
        raise InputError(f"{run.called}: reference unit {serial} has no value on its chart")
    point = chart.points[-1]
    return ReferenceUnit(
        serial=serial,
        value_c=point.value,
        centre_c=point.centre,
        limit_k=point.half_width,
        chart=state_of(chart),
        probes=state_of(probe_chart_of(records, bench_name, run.run_id)),
        sees=_sentence(chart.power.in_words()),
    )


def state_of(chart: Chart) -> State:
    """Return a chart's state; raises InputError where it blocks."""
    if chart.blocked:
        raise InputError(f"chart {chart.blocked}")
    return "in control, limits provisional" if chart.provisional else "in control"


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}."
