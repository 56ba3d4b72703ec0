"""Why a measurement may not be certified whatever its values: trust, run, charts, calibrations."""

from __future__ import annotations

import datetime as dt
from typing import NamedTuple

from proofbath.bench.connect import simulated
from proofbath.bench.description import BenchFile
from proofbath.bench.in_force import DRIFT_LIMIT_K, Shelf, blocking_reasons, drift_k
from proofbath.errors import RecordError
from proofbath.proof.chart import Chart
from proofbath.run.profiles import TRIM
from proofbath.store.journal import Journal
from proofbath.store.kinds import Loading, Result, StationRun, Unit
from proofbath.store.records import Kept, RecordsReader
from proofbath.workshop.charts import (
    ChartName,
    points_of_run,
    probe_chart_of,
    reference_chart_of,
)
from proofbath.workshop.contents import content_of
from proofbath.workshop.intake import newest_type, reference_in_use
from proofbath.workshop.night_findings import OF_THE_BENCH, night_findings
from proofbath.workshop.story import Step, only

RELEASED = frozenset(("attended", "unattended"))
"""Kinds of a run's events that say how it might heat: watched, or with its interlocks proven."""
ONLY_TRIMMED = "was measured by a trim run, which certifies nothing; measure it overnight"
INFORMS = frozenset(
    (
        "gaps",
        "lag_from_prior",
        "leads_not_supplied",
        "missing_values",
        "open_at_first_bath",
        "ramp_fast",
        "repeated_time",
        "set_current_not_read",
    )
)
"""Warnings of an analysis whose doubt its uncertainty covers; any other one forbids certifying."""


class Blocks:
    """What blocks certifying on a day; each run is looked into once."""

    def __init__(self, records: RecordsReader, journal: Journal, on: dt.date) -> None:
        self._records, self._journal, self._on = records, journal, on
        self._runs: dict[int, list[str]] = {}

    def of(self, step: Step, powered: bool) -> list[str]:
        """Return why a measurement with a result may not be certified, one line each.

        `powered` says that its heater was fed.
        """
        run, loading, result = step.station_run, step.loading, step.result
        assert run is not None
        assert loading is not None
        assert result is not None
        number = run.entry.run_id
        if number not in self._runs:
            self._runs[number] = self._run_blocks(run.entry, loading.entry.bench)
        content = content_of(result)
        warned = content.curve.warnings
        return [
            *([ONLY_TRIMMED] if content.profile == TRIM else []),
            *(f"{w.code}: {w.text}" for w in warned if w.code not in INFORMS),
            *self._runs[number],
            *self._calibration_blocks(step.date, loading, run.entry, powered),
            *self._drift_blocks(loading, result),
        ]

    def _run_blocks(self, run: StationRun, bench_name: str) -> list[str]:
        number = run.run_id
        try:
            self._journal.verify_chain(number)
            line = self._journal.run(number)
        except RecordError as error:
            return list(error.faults)
        if self._journal.seal(number) != run.run_digest:
            return [f"run {number}: was gone on with since it was kept; keep it again"]
        found = []
        if run.status != "done":
            why = f" ({line.reason})" if line.reason else ""
            found.append(f"run {number}: ended {run.status}{why}, not done; measure again")
        bench = BenchFile.model_validate_json(line.head.bench_text)
        events = {event.kind for event in self._journal.events(number)}
        if not simulated(bench) and not events & RELEASED:
            found.append(
                f"run {number}: interlocks unproven and nobody stayed; prove them"
                " (proofbath check --commission) and measure again"
            )
        guard = _guard_of(self._records, number)
        together = night_findings(self._records, number)
        found += [f"run {number}: {w.text}" for w in together if w.code in OF_THE_BENCH]
        found += _guard_blocks(self._records, number, guard, bench.bath_limit_c())
        probes = probe_chart_of(self._records, bench_name)
        found += self._chart_blocks(number, "probes", "bath and guard probe", probes)
        if guard is not None and guard.known:
            chart = reference_chart_of(self._records, bench_name, guard.unit.entry.serial)
            what = f"reference unit {guard.unit.entry.serial}"
            found += self._chart_blocks(number, "reference", what, chart)
        return found

    def _chart_blocks(self, run_id: int, name: ChartName, what: str, chart: Chart) -> list[str]:
        """What blocks now, else that this very run was out of control."""
        if chart.blocked:
            return [f"{what}: {chart.blocked}"]
        signals = [p.signal for p in points_of_run(self._records, run_id, name) if p.signal]
        return [f"{what}: out of control in run {run_id}: {s}; measure again" for s in signals[:1]]

    def _calibration_blocks(
        self, day: dt.date, loading: Kept[Loading], run: StationRun, powered: bool
    ) -> list[str]:
        """What is missing or overdue today, and what was when it was measured."""
        bench = BenchFile.model_validate_json(self._journal.run(run.run_id).head.bench_text)
        now, then = (
            blocking_reasons(self._records, bench, on, (run.station,), powered)
            for on in (self._on, day)
        )
        return now + [f"when run {run.run_id} was made: {why}" for why in then if why not in now]

    def _drift_blocks(self, loading: Kept[Loading], result: Kept[Result]) -> list[str]:
        """A drift found later puts a result in doubt until it is computed anew."""
        checks = Shelf(self._records, loading.entry.bench, self._on).checks()
        used = [n for n, kept in enumerate(checks) if kept.root in result.entry.calibration_ids]
        later = checks[used[-1] + 1 :] if used else []
        return [
            f"probes: {off_k:+.3f} K off at the ice point on {kept.entry.done}, limit"
            f" {DRIFT_LIMIT_K:g} K, after this was measured; compute it anew or measure again"
            for kept in later
            if kept.at > loading.at
            and (off_k := drift_k(kept)) is not None
            and abs(off_k) > DRIFT_LIMIT_K
        ]


class _Guard(NamedTuple):
    """The reference unit of a run; `known` says that it is one on record."""

    unit: Kept[Unit]
    known: bool
    result: Kept[Result] | None


def _guard_of(records: RecordsReader, run_id: int) -> _Guard | None:
    for run in records.current(StationRun, run_id=run_id):
        loading = records.one(Loading, run.entry.loading_id).entry
        if loading.place == "reference" and loading.unit_id is not None:
            unit = records.one(Unit, loading.unit_id)
            known = reference_in_use(records, unit.root) is not None
            return _Guard(unit, known, only(records.current(Result, station_run_id=run.root)))
    return None


def _guard_blocks(
    records: RecordsReader, run_id: int, guard: _Guard | None, limit_c: float
) -> list[str]:
    if guard is None:
        return [f"run {run_id}: no reference unit was loaded; measure again with one"]
    serial, type_name = guard.unit.entry.serial, guard.unit.entry.unit_type
    if not guard.known:
        return [f"run {run_id}: {serial} hung as reference unit and is none; measure again"]
    opens_c = newest_type(records, type_name).entry.unit_type.nominal_start_to_open_c
    if opens_c >= limit_c:
        return [
            f"wrong type of reference unit: {serial} ({type_name}) opens at {opens_c:.1f} °C, the"
            f" bath's limit is {limit_c:.1f} °C; measure again with one that opens below it"
        ]
    start = content_of(guard.result).curve.start_to_open_c if guard.result else None
    if start is None or start.value is None:
        why = (start and start.reason) or "nothing was recorded"
        return [f"reference unit {serial}: gave no start-to-open in run {run_id}: {why}"]
    return []
