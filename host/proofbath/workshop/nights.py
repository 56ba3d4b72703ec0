"""Nights of the workshop: loaded on record before heat, run as the bench stands, kept after."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

from proofbath.bench.clock import Clock, monotonic_s, utc_text
from proofbath.bench.description import BenchFile
from proofbath.bench.in_force import bench_in_force, blocking_reasons
from proofbath.bench.loop import Outcome
from proofbath.bench.night import Progressed, Remarks, check_night
from proofbath.bench.process import bench_night, bench_resume
from proofbath.bench.ready import Ready
from proofbath.bench.unit_analysis import UnitReport
from proofbath.curve.result import Warned
from proofbath.errors import InputError
from proofbath.run.plan import LoadedStation, NightPlan
from proofbath.store.kinds import Batch, Loading, Result, StationRun, Unit
from proofbath.store.records import Kept, Stamp, Writer
from proofbath.workshop.entry import day_of, made
from proofbath.workshop.keeping import LOADINGS, keep_missing, keep_run
from proofbath.workshop.night_findings import night_findings
from proofbath.workshop.planning import cause_of, loading_faults
from proofbath.workshop.shop import Shop, ShopView
from proofbath.workshop.story import only

BLOCKING = "blocking"
"""Kind of a run's event that says why its results could not be certified, known before heat."""


class NightDone(NamedTuple):
    """How a night ended, its results on record, and what it says of its units."""

    outcome: Outcome
    results: tuple[int, ...]
    reports: tuple[UnitReport, ...]
    findings: tuple[Warned, ...] = ()
    """What all its units together tell of the bench, or of one among them."""


def begin_loading(shop: Shop, plan: NightPlan, bench: BenchFile, stamp: Stamp) -> list[int]:
    """Put on record what hangs where, and return the entries' numbers in the plan's order.

    Raises InputError with every reason why a unit may not be measured so.
    """
    faults = loading_faults(shop.records, plan)
    if faults:
        raise InputError(*faults)
    batch = only(shop.records.current(Batch, name=plan.batch))
    with shop.records.writing(stamp) as writer:
        return [
            writer.add(_loading(writer, plan, place, bench.bench.name, batch))
            for place in plan.station
        ]


def certify_blocks(shop: ShopView, plan: NightPlan, bench: BenchFile, on: dt.date) -> list[str]:
    """Return why nothing that a night measures on a day could be certified, one line each."""
    units = [place.station for place in plan.station if place.role == "unit"]
    powered = plan.unit_type.element_ohm is not None
    return blocking_reasons(shop.records, bench, on, units, powered) if units else []


def shop_night(
    shop: Shop,
    plan: NightPlan,
    bench_name: str,
    by: str,
    at: str,
    *,
    clear: bool = False,
    on_ready: Callable[[Ready], None] = lambda _: None,
    on_progress: Callable[[Progressed], None] = lambda _: None,
    on_alarm: Callable[[str], None] = lambda _: None,
    remarks: Remarks = (),
    folder: Path | None = None,
    wall_s: Clock = monotonic_s,
    now: Callable[[], str] = utc_text,
) -> NightDone:
    """Run a night on one of the workshop's benches as it stands that day, and keep it.

    `at` is when it begins, `now` tells when it has ended, `folder` is that of locks and control
    sockets.  Raises InputError before the bench is touched, and what `bench_night` raises.
    """
    stamp = shop.stamp(by, at)
    keep_missing(shop, stamp)  # what was measured already decides what may be measured now
    bench = bench_in_force(shop.records, shop.bench(bench_name), day_of(at))
    check_night(plan, bench)
    loadings = begin_loading(shop, plan, bench, stamp)
    known = {place.station: root for place, root in zip(plan.station, loadings, strict=True)}
    blocks = certify_blocks(shop, plan, bench, day_of(at))
    outcome = bench_night(
        plan,
        bench,
        shop.records.place,
        clear=clear,
        on_ready=on_ready,
        on_progress=on_progress,
        on_alarm=on_alarm,
        remarks=(*remarks, (LOADINGS, json.dumps(known)), *((BLOCKING, text) for text in blocks)),
        folder=folder,
        wall_s=wall_s,
        started=lambda: at,
    )
    return _kept(shop, outcome, Stamp(now(), stamp.by))


def shop_resume(
    shop: Shop,
    bench_name: str,
    by: str,
    at: str,
    run_id: int | None = None,
    *,
    clear: bool = False,
    attended: bool = False,
    on_ready: Callable[[Ready], None] = lambda _: None,
    on_progress: Callable[[Progressed], None] = lambda _: None,
    on_alarm: Callable[[str], None] = lambda _: None,
    folder: Path | None = None,
    wall_s: Clock = monotonic_s,
    now: Callable[[], str] = utc_text,
) -> NightDone:
    """Go on with a night of the workshop, by default the bench's last, and keep it."""
    stamp = shop.stamp(by, at)
    bench = bench_in_force(shop.records, shop.bench(bench_name), day_of(at))
    outcome = bench_resume(
        bench,
        shop.records.place,
        run_id,
        clear=clear,
        attended=attended,
        on_ready=on_ready,
        on_progress=on_progress,
        on_alarm=on_alarm,
        folder=folder,
        wall_s=wall_s,
    )
    return _kept(shop, outcome, Stamp(now(), stamp.by))


def keep_night(shop: Shop, run_id: int, stamp: Stamp, files: bool = True) -> list[int]:
    """Put a closed run's stations and results on record; return the results' numbers.

    Does nothing where they are there, corrects them where the run was gone on with since. Its
    `files` are written before, into the workshop's folder of nights.
    """
    keep_run(shop, run_id, stamp, files)
    return [
        result.root
        for run in shop.records.current(StationRun, run_id=run_id)
        for result in shop.records.current(Result, station_run_id=run.root)
    ]


def _kept(shop: Shop, outcome: Outcome, stamp: Stamp) -> NightDone:
    """Keep a night's own run, and those of killed processes that were closed meanwhile."""
    found = keep_run(shop, outcome.run_id, stamp)
    keep_missing(shop, stamp)
    results = tuple(keep_night(shop, outcome.run_id, stamp))
    together = night_findings(shop.records, outcome.run_id)
    return NightDone(outcome, results, found.reports if found else (), tuple(together))


def _loading(
    writer: Writer,
    plan: NightPlan,
    place: LoadedStation,
    bench_name: str,
    batch: Kept[Batch] | None,
) -> Loading:
    unit = only(writer.current(Unit, serial=place.serial)) if place.role != "blank" else None
    return made(
        Loading,
        f"station {place.station}",
        batch_id=batch.root if batch else None,
        unit_id=unit.root if unit else None,
        bench=bench_name,
        station=place.station,
        place=place.role,
        stage=plan.stage,
        retest_cause=cause_of(place),
        cause_record=place.cause_record or "",
    )
