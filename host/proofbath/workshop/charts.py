"""Control charts from the record: the reference unit's starts, and bath minus guard probe."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal, NamedTuple

from proofbath.errors import InputError
from proofbath.proof.chart import Chart, Point, Run, probe_chart, reference_chart
from proofbath.store.kinds import (
    Calibration,
    ChartCause,
    Loading,
    ReferenceUnit,
    Result,
    StationRun,
    Unit,
)
from proofbath.store.records import Kept, RecordsReader, Stamp
from proofbath.workshop.contents import content_of
from proofbath.workshop.entry import day_of, made
from proofbath.workshop.shop import Shop
from proofbath.workshop.story import only

ChartName = Literal["reference", "probes"]


def reference_chart_of(
    records: RecordsReader, bench_name: str, serial: str, until_run: int | None = None
) -> Chart:
    """Return the chart of a reference unit on a bench, since its centre was last set.

    Nights in which it gave no start-to-open have no point.
    """
    unit = records.find(Unit, serial=serial)
    said = records.current(ReferenceUnit, unit_id=unit.root)
    if not said:
        raise InputError(f"{serial}: is no reference unit; take one that is on record as such")
    since = max(kept.entry.since for kept in said)
    causes = _causes(records, "reference")
    runs = []
    for night in _nights(records, until_run, bench=bench_name, unit_id=unit.root):
        start_c = content_of(night.result).curve.start_to_open_c.value
        if start_c is not None and day_of(night.loading.at) >= since:
            runs.append(_run(night, str(night.run_id), start_c, causes))
    return reference_chart(runs)


def probe_chart_of(records: RecordsReader, bench_name: str, until_run: int | None = None) -> Chart:
    """Return the chart of bath minus guard at every soak since the probes were calibrated.

    A calibration does not state their difference in the stirred bath, so the first soaks set it.
    """
    causes = _causes(records, "probes")
    calibrations = records.current(Calibration, bench=bench_name)
    probes = {kept.root for kept in calibrations if kept.entry.kind == "probe"}
    nights = _nights(records, until_run, bench=bench_name)
    newest = probes & {*nights[-1].result.entry.calibration_ids} if nights else set()
    soaks = [
        _run(night, f"{night.run_id}, soak {number}", apart_k, causes)
        for night in nights
        if probes & {*night.result.entry.calibration_ids} == newest
        for number, apart_k in enumerate(content_of(night.result).probe_minus_guard_k, 1)
    ]
    return probe_chart(soaks)


def points_of_run(records: RecordsReader, run_id: int, chart: ChartName) -> list[Point]:
    """Return what a chart shows of one run, by the limits of that time."""
    loadings = [
        records.one(Loading, kept.entry.loading_id).entry
        for kept in records.current(StationRun, run_id=run_id)
    ]
    if not loadings:
        return []
    bench_name = loadings[0].bench
    if chart == "probes":
        found = probe_chart_of(records, bench_name, run_id)
    else:
        guard = [loading.unit_id for loading in loadings if loading.place == "reference"]
        if not guard or guard[0] is None:
            return []
        serial = records.one(Unit, guard[0]).entry.serial
        found = reference_chart_of(records, bench_name, serial, run_id)
    return [point for point in found.points if point.run_id == run_id]


def put_cause(shop: Shop, run_id: int, chart: ChartName, cause: str, stamp: Stamp) -> int:
    """Put on record what made a run go out of control, and return the entry's number.

    Raises InputError for a run without a signal on that chart, or with its cause on record.
    """
    entry = made(ChartCause, f"run {run_id}", run_id=run_id, chart=chart, cause=cause)
    if not any(point.signal for point in points_of_run(shop.records, run_id, chart)):
        raise InputError(f"run {run_id}: shows no signal on the {chart} chart; nothing to explain")
    if shop.records.current(ChartCause, run_id=run_id, chart=chart):
        raise InputError(f"run {run_id}: has its cause on the {chart} chart already; correct that")
    return shop.records.add(entry, stamp)


class _Night(NamedTuple):
    """One result of a run, for a chart."""

    run_id: int
    loading: Kept[Loading]
    result: Kept[Result]


def _nights(records: RecordsReader, until_run: int | None, **loaded: Any) -> list[_Night]:
    """One result a run of the loadings asked for, in the order of the runs."""
    loadings = {kept.root: kept for kept in records.current(Loading, **loaded)}
    nights: dict[int, _Night] = {}
    for run in records.current(StationRun):
        run_id, loading = run.entry.run_id, loadings.get(run.entry.loading_id)
        if loading is None or run_id in nights or run_id > (until_run or run_id):
            continue
        result = only(records.current(Result, station_run_id=run.root))
        if result is not None:
            nights[run_id] = _Night(run_id, loading, result)
    return [nights[run_id] for run_id in sorted(nights)]


def _run(night: _Night, called: str, value: float, causes: Mapping[int, str]) -> Run:
    return Run(called, value, causes.get(night.run_id, ""), night.run_id)


def _causes(records: RecordsReader, chart: ChartName) -> dict[int, str]:
    return {k.entry.run_id: k.entry.cause for k in records.current(ChartCause, chart=chart)}
