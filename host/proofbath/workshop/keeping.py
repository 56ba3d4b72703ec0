"""A closed run put on record: its stations, results and files; later too, after a killed process.

A run that was gone on with is corrected; whatever is on record as it is, is left alone.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from contextlib import closing
from pathlib import Path
from typing import Any

from proofbath.bench.night import HEATING_TEST
from proofbath.bench.run import read_run
from proofbath.errors import InputError
from proofbath.store.journal import OPEN, Journal, RunLine
from proofbath.store.kinds import Loading, Result, StationRun
from proofbath.store.records import Kept, Records, Stamp, Writer
from proofbath.workshop.entry import day_of
from proofbath.workshop.night_files import make_folder, write_json, write_night
from proofbath.workshop.night_results import PROGRAM, RunResults, run_results
from proofbath.workshop.shop import Shop
from proofbath.workshop.story import only

LOADINGS = "loadings"
"""Kind of a run's event that names the loading on record of each of its stations."""
GONE_ON = "the run was gone on with"


def keep_run(shop: Shop, run_id: int, stamp: Stamp, files: bool = True) -> RunResults | None:
    """Put a closed run on record; None where it is on record as it is.

    Its `files` are written before, into the workshop's folder of nights.
    Raises InputError for a run that is open or was not begun from the workshop, RecordError for
    one that was changed.
    """
    with closing(Journal(shop.records.place)) as journal:
        line = journal.run(run_id)
        if line.status == OPEN:
            raise InputError(f"run {run_id}: is under way; wait for its end")
        loadings = loadings_of(journal, run_id)
        if not loadings:
            raise InputError(f"run {run_id}: names no loadings; it was not begun from the workshop")
        digest = journal.seal(run_id)
        kept = shop.records.current(StationRun, run_id=run_id)
        if kept and all(run.entry.run_digest == digest for run in kept):
            return None
        journal.verify_chain(run_id)
        first = shop.records.history(Loading, min(loadings.values()))[0]
        found = run_results(shop.records, read_run(journal, run_id), day_of(first.at))
    if files:
        _write_files(shop, line, found)
    _keep(shop.records, line, digest, loadings, found, stamp)
    return found


def keep_missing(shop: Shop, stamp: Stamp) -> list[int]:
    """Keep every closed run of the workshop that is not on record as it is; return their numbers.

    A process that was killed after its run, or a run that was gone on with, leaves such.
    """
    known = {kept.entry.run_id: kept.entry for kept in shop.records.current(StationRun)}
    with closing(Journal(shop.records.place)) as journal:
        missing = [
            line.run_id
            for line in journal.runs()
            if line.status != OPEN
            and line.head.plan_text != HEATING_TEST
            and _is_missing(journal, line, known.get(line.run_id))
        ]
    for run_id in missing:
        keep_run(shop, run_id, stamp)
    return missing


def loadings_of(journal: Journal, run_id: int) -> dict[int, int]:
    """Return the loading on record of each station of a run, by its own account."""
    named = [event.text for event in journal.events(run_id) if event.kind == LOADINGS]
    return {int(station): root for station, root in json.loads(named[0]).items()} if named else {}


def _is_missing(journal: Journal, line: RunLine, kept: StationRun | None) -> bool:
    """Whether a closed run is not on record as it is; one that was done is never gone on with."""
    if kept is None:
        return bool(loadings_of(journal, line.run_id))
    return kept.status != "done" and kept.run_digest != journal.seal(line.run_id)


def _keep(
    records: Records,
    line: RunLine,
    digest: str,
    loadings: Mapping[int, int],
    found: RunResults,
    stamp: Stamp,
) -> None:
    with records.writing(stamp) as writer:
        kept = {run.entry.station: run for run in writer.current(StationRun, run_id=line.run_id)}
        for station, loading in sorted(loadings.items()):
            run = StationRun(
                run_id=line.run_id,
                loading_id=loading,
                station=station,
                status=line.status,
                run_digest=digest,
            )
            earlier = kept.get(station)
            if earlier is not None and earlier.entry == run:
                continue  # another process was faster
            root = _put(writer, run, earlier)
            if station in found.contents:
                result = Result(
                    station_run_id=root,
                    calibration_ids=found.calibration_ids,
                    program=PROGRAM,
                    content=found.contents[station].to_json(),
                )
                _put(writer, result, only(writer.current(Result, station_run_id=root)))


def _put(writer: Writer, entry: StationRun | Result, earlier: Kept[Any] | None) -> int:
    if earlier is None:
        return writer.add(entry)
    writer.correct(earlier.root, entry, GONE_ON)
    return int(earlier.root)


def night_folder(shop: Shop, run_id: int) -> Path:
    """Return the folder of a run's files."""
    return shop.nights / f"run-{run_id}"


def _write_files(shop: Shop, line: RunLine, found: RunResults) -> None:
    out = night_folder(shop, line.run_id)
    make_folder(out)
    (out / "plan.json").write_text(line.head.plan_text + "\n")
    if found.reports:
        write_night(out, found.reports)
    units = [
        {"serial": r.serial, "station": r.station, "role": r.role}
        | found.contents[r.station].to_json()
        for r in found.reports
    ]
    ended = {"run": line.run_id, "status": line.status, "reason": line.reason}
    write_json(out / "night.json", {**ended, "bench": line.head.bench, "units": units})
