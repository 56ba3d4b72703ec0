"""Results on record: a station's run analysed, and analysed again under another calibration."""

from __future__ import annotations

import datetime as dt
from typing import NamedTuple

from proofbath.bench.curves import unit_records
from proofbath.bench.in_force import DRIFT_LIMIT_K, InForce, Shelf, drift_k
from proofbath.bench.result_content import result_contents
from proofbath.bench.run import Run, read_run
from proofbath.bench.unit_analysis import unit_result
from proofbath.curve.result import CurveResult
from proofbath.errors import InputError, RecordError
from proofbath.store import kinds
from proofbath.store.journal import Journal
from proofbath.store.records import Kept, Records, RecordsReader, Stamp


class Recomputed(NamedTuple):
    """A result that took another's place, and the certificates that rest on the earlier one."""

    result: Kept[kinds.Result]
    affected: tuple[Kept[kinds.Certificate], ...]


def file_in_force(night: Run) -> InForce:
    """Return what was in force during a run by its own account, without any record."""
    return InForce(night.calibration, (), night.bench.budget, {})


def station_result(night: Run, station: int, used: InForce) -> CurveResult:
    """Return what a run's raw counts say of the unit at a station under a calibration.

    Raises RecordError where the station held no unit or nothing was recorded.
    """
    place = next((p for p in night.plan.station if p.station == station), None)
    unit_type = night.plan.type_at(place) if place else None
    record = unit_records(night, used.calibration).get(station)
    if unit_type is None or record is None:
        raise RecordError(f"run {night.run_id}: station {station} has no record of a unit")
    return unit_result(night, record, unit_type, station, used)


def put_result(
    records: Records,
    journal: Journal,
    station_run_id: int,
    used: InForce,
    program: str,
    stamp: Stamp,
) -> Kept[kinds.Result]:
    """Analyse a station's run and put its first result on record; refused where there is one."""
    if records.current(kinds.Result, station_run_id=station_run_id):
        raise InputError(f"station run {station_run_id} has its result; recompute it instead")
    entry = _entry(records, journal, station_run_id, used, program)
    return records.one(kinds.Result, records.add(entry, stamp))


def recompute(
    records: Records,
    journal: Journal,
    result_id: int,
    *,
    used: InForce,
    program: str,
    reason: str,
    stamp: Stamp,
) -> Recomputed:
    """Analyse a result's raw counts under another calibration and put the new result on record.

    The earlier result stays; what its certificates say is for a certifier to judge.
    """
    earlier = records.one(kinds.Result, result_id)
    entry = _entry(records, journal, earlier.entry.station_run_id, used, program)
    records.correct(earlier.root, entry, reason, stamp)
    affected = records.current(kinds.Certificate, result_id=earlier.root)
    return Recomputed(records.one(kinds.Result, earlier.root), tuple(affected))


def _entry(
    records: RecordsReader, journal: Journal, station_run_id: int, used: InForce, program: str
) -> kinds.Result:
    run = records.one(kinds.StationRun, station_run_id).entry
    journal.verify_chain(run.run_id)
    night = read_run(journal, run.run_id)
    found = {run.station: station_result(night, run.station, used)}
    contents = result_contents(night, found, used.calibration, program)
    return kinds.Result(
        station_run_id=station_run_id,
        calibration_ids=used.ids,
        program=program,
        content=contents[run.station].to_json(),
    )


class LookBack(NamedTuple):
    """What a drift puts in doubt: since when, by how much, and which certificates."""

    off_k: float
    since: dt.date | None
    """The last good check; None where there was none before."""
    certificates: tuple[Kept[kinds.Certificate], ...]


def look_back(
    records: RecordsReader, journal: Journal, bench_name: str, check_id: int
) -> LookBack | None:
    """Return what a probe calibration or check puts in doubt; None where its drift is allowed."""
    found = records.one(kinds.Calibration, check_id)
    off_k = drift_k(found)
    if off_k is None or abs(off_k) <= DRIFT_LIMIT_K:
        return None
    checks = Shelf(records, bench_name, found.entry.done).checks()
    before = checks[: [kept.root for kept in checks].index(check_id)]
    good = [kept for kept in before if _left_good(kept)]
    since = good[-1].entry.done if good else None
    measured = {
        run.run_id
        for run in journal.runs()
        if run.head.bench == bench_name
        and (since is None or dt.date.fromisoformat(run.head.started[:10]) >= since)
    }
    doubtful = [
        kept
        for kept in records.current(kinds.Certificate)
        if _run_of(records, kept.entry) in measured
    ]
    return LookBack(off_k, since, tuple(doubtful))


def _left_good(kept: Kept[kinds.Calibration]) -> bool:
    """A calibration leaves the probes good whatever it found; a check only says how they are."""
    off_k = drift_k(kept)
    return kept.entry.kind == "probe" or (off_k is not None and abs(off_k) <= DRIFT_LIMIT_K)


def _run_of(records: RecordsReader, certificate: kinds.Certificate) -> int:
    result = records.one(kinds.Result, certificate.result_id).entry
    return records.one(kinds.StationRun, result.station_run_id).entry.run_id
