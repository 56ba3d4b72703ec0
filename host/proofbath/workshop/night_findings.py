"""What only a whole night shows: its units beside one another, and beside their earlier nights."""

from __future__ import annotations

from proofbath.curve.batch_trust import batch_findings
from proofbath.curve.result import Warned
from proofbath.store.kinds import Loading, Result, Rework, StationRun
from proofbath.store.records import Kept, RecordsReader
from proofbath.workshop.contents import content_of
from proofbath.workshop.story import only, reworks_of

OF_THE_BENCH = frozenset(("shifted_together", "stratified"))
"""Findings that say the bench was wrong that night, whatever its units are."""


def night_findings(records: RecordsReader, run_id: int) -> list[Warned]:
    """Return what the units of a run on record show together.

    Their starts are compared with those of earlier runs on the bench wherever a unit was not
    changed since: the reference unit's, a retest's, those of a study.
    """
    results, earlier_c = [], dict[str, float]()
    for loading, result in _of_run(records, run_id):
        found = content_of(result).curve
        results.append(found)
        before = _start_before(records, loading, run_id)
        if before is not None and found.start_to_open_c.rate == "zero":
            earlier_c[found.name] = before
    return batch_findings(results, earlier_c)


def _of_run(records: RecordsReader, run_id: int) -> list[tuple[Kept[Loading], Kept[Result]]]:
    found = []
    for run in records.current(StationRun, run_id=run_id):
        result = only(records.current(Result, station_run_id=run.root))
        if result is not None:
            found.append((records.one(Loading, run.entry.loading_id), result))
    return found


def _start_before(records: RecordsReader, loading: Kept[Loading], run_id: int) -> float | None:
    """The unit's start at zero rate in its last earlier run on this bench, unless changed since."""
    place = records.places(Loading, Rework)
    unit = {"unit_id": loading.entry.unit_id}
    changed = [place[Rework, kept.root] for kept in reworks_of(records, **unit)]
    last = max((n for n in changed if n < place[Loading, loading.root]), default=0)
    starts = list[tuple[int, float]]()
    for earlier in records.current(Loading, **unit, bench=loading.entry.bench):
        run = only(records.current(StationRun, loading_id=earlier.root))
        result = only(records.current(Result, station_run_id=run.root)) if run else None
        if run is None or result is None or not last < place[Loading, earlier.root]:
            continue
        start = content_of(result).curve.start_to_open_c
        is_earlier = run.entry.run_id < run_id and run.entry.status == "done"
        if is_earlier and start.value is not None and start.rate == "zero":
            starts.append((run.entry.run_id, start.value))
    return max(starts)[1] if starts else None
