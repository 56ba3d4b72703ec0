"""A run computed anew from its raw counts, and the certificates that rest on what changed."""

from __future__ import annotations

import datetime as dt
from contextlib import closing
from typing import Any, NamedTuple

from proofbath.bench.in_force import InForce, calibration_in_force
from proofbath.bench.run import Run, read_run
from proofbath.bench.soaks import probe_differences_k
from proofbath.bench.unit_analysis import unit_reports
from proofbath.curve.content import ResultContent
from proofbath.errors import InputError
from proofbath.quantity.quantity import Quantity
from proofbath.store.journal import Journal
from proofbath.store.kinds import Calibration, Handling, Result, StationRun
from proofbath.store.records import Kept, RecordsReader, Stamp
from proofbath.workshop.issued import IssuedLine, certificates_of
from proofbath.workshop.night_results import PROGRAM
from proofbath.workshop.pooling import budget_for
from proofbath.workshop.shop import Shop
from proofbath.workshop.story import only

SHARE_OF_U = 0.1
"""A value that moves by less says the same: what is pooled from other units changes it a little."""
Content = dict[str, Any]


class Recomputed(NamedTuple):
    """Numbers of the results that changed, and the certificates that rest on them and stand."""

    results: tuple[int, ...]
    affected: tuple[IssuedLine, ...]


def recompute_run(shop: Shop, run_id: int, on: dt.date, reason: str, stamp: Stamp) -> Recomputed:
    """Compute a run's results anew under what is in force on a day; those that change are recorded.

    The earlier results stay, and so do those that would say the same; certificates are for a
    certifier to replace or withdraw.  Raises InputError for a run without results and where
    something was touched since, RecordError where its samples were changed.
    """
    records = shop.records
    kept = {
        run.entry.station: result
        for run in records.current(StationRun, run_id=run_id)
        if (result := only(records.current(Result, station_run_id=run.root))) is not None
    }
    if not kept:
        raise InputError(f"run {run_id}: has no results on record; name one that was kept")
    with closing(Journal(records.place)) as journal:
        journal.verify_chain(run_id)
        night = read_run(journal, run_id)
    _check_untouched(records, night, on)
    used, contents = _contents(records, night, on)
    changed = []
    with records.writing(stamp) as writer:
        for station, result in sorted(kept.items()):
            new = _anew(result, contents.get(station, {}), used)
            if _says_else(result.entry, new, _calibrations_at(records, station)):
                writer.correct(result.root, new, reason)
                changed.append(result.root)
    affected = (
        line
        for line in certificates_of(records)
        if line.state == "valid" and line.certificate.entry.result_id in changed
    )
    return Recomputed(tuple(changed), tuple(affected))


def _check_untouched(records: RecordsReader, night: Run, on: dt.date) -> None:
    """Counts of before something was touched cannot be read by a calibration of after."""
    day = dt.date.fromisoformat(night.head.started[:10])
    for touched in records.current(Handling, bench=night.head.bench):
        if day <= touched.entry.date <= on:
            raise InputError(
                f"run {night.run_id}: {touched.entry.what} was touched on {touched.entry.date}"
                f" ({touched.entry.text}), after it was measured; name an earlier day, or measure"
                " again"
            )


def _calibrations_at(records: RecordsReader, station: int) -> set[int]:
    return {k.root for k in records.current(Calibration) if k.entry.station in (0, station)}


def _contents(
    records: RecordsReader, night: Run, on: dt.date
) -> tuple[InForce, dict[int, Content]]:
    """What is in force on the day, and what it makes of each station's record."""
    bench, plan = night.bench, night.plan
    found = calibration_in_force(records, bench, on)
    profile = plan.profile or ""
    budget = budget_for(records, found.budget, bench.bench.name, plan.unit_type.name, profile, ())
    used = found._replace(budget=budget)
    apart_k = probe_differences_k(night, used.calibration)
    return used, {
        report.station: {**report.result.to_json(), "probe_minus_guard_k": apart_k}
        for report in unit_reports(night, used)
    }


def _anew(result: Kept[Result], content: Content, used: InForce) -> Result:
    changed = {"program": PROGRAM} if "program" in result.entry.content else {}
    return result.entry.model_copy(
        update={
            "calibration_ids": used.ids,
            "program": PROGRAM,
            "content": {**result.entry.content, **content, **changed},
        }
    )


def _says_else(old: Result, new: Result, mine: set[int]) -> bool:
    """Whether a result rests on other calibrations of its own, or on them says something else.

    `mine` are the calibrations of its station and of the probes. What the old one says nothing of,
    as an earlier version of the program knew no such quantity, is no difference.
    """
    if mine & {*old.calibration_ids} != mine & {*new.calibration_ids}:
        return True
    common = {name: part for name, part in new.content.items() if name in old.content}
    before, after = (list(ResultContent.from_json(one).each()) for one in (old.content, common))
    return len(before) != len(after) or any(
        _differs(a, b) for a, b in zip(before, after, strict=True)
    )


def _differs(old: Quantity, new: Quantity) -> bool:
    if old.value is None or new.value is None:
        return old.value is not new.value
    return abs(new.value - old.value) > SHARE_OF_U * (old.expanded_uncertainty or 0.0)
