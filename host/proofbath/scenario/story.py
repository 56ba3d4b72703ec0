"""The demo's story: a batch from intake over as found, rework and as left to its certificates."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import NamedTuple

from proofbath.bench.description import BenchFile
from proofbath.bench.night import Progressed
from proofbath.bench.unit_analysis import UnitReport
from proofbath.errors import BenchFaultError
from proofbath.run.plan import Stage
from proofbath.scenario.ferry import TEAL_82, ferry_bench
from proofbath.scenario.rework import with_worn_stop
from proofbath.scenario.workshop import (
    BENCH,
    CERTIFIER,
    OPERATOR,
    REFERENCE,
    calibrate_all,
    hours_of,
    set_up,
    staff_and_type,
)
from proofbath.store.journal import Journal
from proofbath.store.kinds import Findings, Unit
from proofbath.store.records import Stamp
from proofbath.virtual.truth import rising_c
from proofbath.workshop.advice import UnitAdvice, advice_for
from proofbath.workshop.batch_papers import batch_labels, batch_summary
from proofbath.workshop.intake import add_unit, open_batch, put_rework, take_in
from proofbath.workshop.judging import Judged, judge_batch
from proofbath.workshop.keeping import night_folder
from proofbath.workshop.nights import NightDone, shop_night
from proofbath.workshop.papers import Certified, certify
from proofbath.workshop.planning import plan_night
from proofbath.workshop.shop import Shop, open_shop

BATCH = "ferry-teal-82-spring"
CUSTOMER, ADDRESS = "Ness River Ferries", ("Pier House", "Upper Ness")
GOOD = Findings(
    identity="good",
    corrosion="good",
    spring="good",
    cracks="good",
    wax_seep="good",
    vent_pin="good",
    seal="bad",
)
CRACKED = GOOD.model_copy(update={"cracks": "bad"})
WORN = 2
"""Which of the drawn units, from 0, has a bent stop and cannot be mended."""
Tell = Callable[[Progressed], None]


class Told(NamedTuple):
    """The story at its end: hours on the bench, what was measured, advised, judged, certified."""

    bench: BenchFile
    hours: float
    refused: str
    as_found: tuple[UnitReport, ...]
    advice: tuple[UnitAdvice, ...]
    as_left: tuple[UnitReport, ...]
    files: Path
    """Folder of the night as left."""
    judged: tuple[Judged, ...]
    certified: tuple[Certified, ...]

    def true_c(self) -> dict[int, float | None]:
        """Return each unit's true start-to-open as left, by station."""
        assert self.bench.virtual is not None
        return {
            unit.station: rising_c(unit, TEAL_82.threshold_mm) for unit in self.bench.virtual.unit
        }


def tell_story(
    folder: Path, seed: int, at: str, locks: Path, on_step: Callable[[str], None], tell: Tell
) -> Told:
    """Carry the whole story out in an empty folder; `at` is now, `locks` a folder for locks.

    `on_step` is told each step in words, `tell` how a night goes.
    """
    bench = ferry_bench(seed)
    assert bench.virtual is not None
    serials = [unit.serial for unit in bench.virtual.unit if unit.serial != REFERENCE]
    bench = with_worn_stop(bench, serials[WORN])
    with open_shop(set_up(folder, bench)) as shop:
        on_step("The bench is calibrated: ice and steam, gauge blocks, a blank night")
        stamp = staff_and_type(shop, at)
        hours = calibrate_all(shop, bench, stamp, locks)
        refused = _take_in(shop, serials, stamp)
        on_step(f"{len(serials)} units are taken in, {refused} is refused: its frame is cracked")
        on_step("The night as found: nothing has been touched")
        found = _night(shop, "as-found", at, locks, tell)
        advice = advice_for(shop.records, BATCH)
        _rework(shop, advice, stamp)
        bench = shop.bench(BENCH)
        on_step("All units got a new seal, those that open wrongly wax as advised")
        on_step("The night as left: a conditioning and three recorded cycles")
        left = _night(shop, "as-left", at, locks, tell)
        signed = shop.stamp(CERTIFIER, at)
        certified = certify(shop, BATCH, signed)
        batch_summary(shop, BATCH, signed)
        batch_labels(shop, BATCH)
        with closing(Journal(shop.records.place)) as journal:
            hours += sum(hours_of(journal, done.outcome.run_id) for done in (found, left))
        judged = judge_batch(shop, BATCH, signed.day)
    return Told(
        bench,
        hours,
        refused,
        found.reports,
        tuple(advice),
        left.reports,
        night_folder(shop, left.outcome.run_id),
        tuple(judged),
        tuple(certified),
    )


def _night(shop: Shop, stage: Stage, at: str, locks: Path, tell: Tell) -> NightDone:
    plan = plan_night(shop, BATCH, stage, BENCH, REFERENCE)
    done = shop_night(shop, plan, BENCH, OPERATOR, at, clear=True, on_progress=tell, folder=locks)
    if done.outcome.status != "done":
        raise BenchFaultError(f"night {stage}: {done.outcome.reason}")
    return done


def _take_in(shop: Shop, serials: list[str], stamp: Stamp) -> str:
    """Open the batch and take its units in; return the one that is refused."""
    day = dt.date.fromisoformat(stamp.at[:10])
    open_batch(shop, BATCH, CUSTOMER, ADDRESS, "Engineering stores", day, TEAL_82.name, stamp)
    for serial in serials:
        add_unit(shop, Unit(serial=serial, unit_type=TEAL_82.name), stamp)
        take_in(shop, BATCH, serial, "rework", GOOD, True, "gets a new seal", stamp)
    name, _, last = serials[-1].rpartition("-")
    refused = f"{name}-{int(last) + 1:04d}"
    add_unit(shop, Unit(serial=refused, unit_type=TEAL_82.name), stamp)
    take_in(shop, BATCH, refused, "rework", CRACKED, False, "frame cracked at the seat", stamp)
    return refused


def _rework(shop: Shop, advice: list[UnitAdvice], stamp: Stamp) -> None:
    """Rework every unit: what is put on record is done on the virtual bench."""
    day = dt.date.fromisoformat(stamp.at[:10])

    def record(serial: str, kind: str, amount: float | None, text: str) -> None:
        put_rework(shop, BATCH, serial, day, kind, amount, text, None, stamp)

    for unit in advice:
        change_mg = unit.advice.change if unit.advice else 0.0
        if change_mg:
            record(unit.serial, "wax", change_mg, "wax as advised, new seal")
        else:
            record(unit.serial, "part", None, "new seal, spring and seat cleaned")
