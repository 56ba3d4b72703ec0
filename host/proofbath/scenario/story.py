"""The demo's story: two batches from intake over as found, rework and as left to certificates."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import closing
from multiprocessing import get_context
from pathlib import Path
from typing import NamedTuple

from proofbath.bench.description import BenchFile
from proofbath.bench.unit_analysis import UnitReport
from proofbath.run.plan import Stage
from proofbath.run.unit_type import UnitType
from proofbath.scenario.ferry import (
    BENCH,
    HEATED_BENCH,
    HEATED_REFERENCE,
    HERON_103,
    HERON_103_TYPE,
    REFERENCE,
    TEAL_82,
    ferry_bench,
    heated_bench,
)
from proofbath.scenario.nights import Tell, calibrate_both, night_on_both
from proofbath.scenario.rework import with_worn_stop
from proofbath.scenario.workshop import CERTIFIER, add_reference, hours_of, set_up, staff_and_type
from proofbath.store.journal import Journal
from proofbath.store.kinds import Findings, Unit
from proofbath.store.records import Stamp
from proofbath.virtual.truth import rising_c
from proofbath.workshop.advice import UnitAdvice, advice_for
from proofbath.workshop.batch_papers import batch_labels, batch_summary
from proofbath.workshop.intake import add_unit, open_batch, put_type, take_in
from proofbath.workshop.judging import Judged, judge_batch
from proofbath.workshop.keeping import night_folder
from proofbath.workshop.nights import NightDone
from proofbath.workshop.papers import Certified, certify
from proofbath.workshop.planning import plan_night
from proofbath.workshop.reworking import put_rework
from proofbath.workshop.shop import Shop, open_shop

BATCH, HEATED_BATCH = "ferry-teal-82-spring", "ferry-heron-103-spring"
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


class Scene(NamedTuple):
    """A batch, its type, and the bench it hangs on beside a reference unit."""

    batch: str
    unit_type: UnitType
    bench: str
    reference: str


PLAIN = Scene(BATCH, TEAL_82, BENCH, REFERENCE)
HEATED = Scene(HEATED_BATCH, HERON_103, HEATED_BENCH, HEATED_REFERENCE)


class BatchTold(NamedTuple):
    """A batch at its end: what was measured, advised, judged and certified."""

    scene: Scene
    bench: BenchFile
    hours: float
    as_found: tuple[UnitReport, ...]
    advice: tuple[UnitAdvice, ...]
    as_left: tuple[UnitReport, ...]
    files: Path
    """Folder of the night as left."""
    judged: tuple[Judged, ...]
    certified: tuple[Certified, ...]

    def true_c(self) -> dict[int, float | None]:
        """Return each unit's true start-to-open as left, without power, by station."""
        assert self.bench.virtual is not None
        return {
            unit.station: rising_c(unit, self.scene.unit_type.threshold_mm)
            for unit in self.bench.virtual.unit
        }


class Told(NamedTuple):
    """The story at its end: both batches, hours of calibration, and who was refused."""

    plain: BatchTold
    heated: BatchTold
    calibration_hours: float
    refused: str

    @property
    def hours(self) -> float:
        """Hours on both benches together."""
        return self.calibration_hours + self.plain.hours + self.heated.hours


def tell_story(
    folder: Path, seed: int, at: str, locks: Path, on_step: Callable[[str], None], tell: Tell
) -> Told:
    """Carry the whole story out in an empty folder; `at` is now, `locks` a folder for locks.

    `on_step` is told each step in words, `tell` how the plain batch's nights go; those of the
    heated batch run beside them, in a process of their own.
    """
    plain, heated = ferry_bench(seed), heated_bench(seed)
    serials, heated_serials = _serials(plain), _serials(heated)
    plain = with_worn_stop(plain, serials[WORN])
    path = set_up(folder, plain, heated)
    with open_shop(path) as shop, ProcessPoolExecutor(1, get_context("spawn")) as pool:
        stamp = staff_and_type(shop, at)
        put_type(shop, HERON_103_TYPE, stamp)
        add_reference(shop, HEATED_REFERENCE, stamp)
        on_step("Both benches are calibrated: ice and steam, gauge blocks, resistors, blank nights")
        hours = calibrate_both(pool, shop, (plain, heated), stamp, locks)
        refused = _take_in(shop, PLAIN, [*serials, _after(serials[-1])], stamp)
        _take_in(shop, HEATED, heated_serials, stamp)
        on_step(
            f"{len(serials)} plain and {len(heated_serials)} heater-assisted units are taken in,"
            f" {refused} is refused: its frame is cracked"
        )
        on_step("The night as found on either bench: nothing has been touched")
        found = _nights(shop, "as-found", at, locks, tell, pool)
        advice = [advice_for(shop.records, scene.batch) for scene in (PLAIN, HEATED)]
        for scene, advised in zip((PLAIN, HEATED), advice, strict=True):
            _rework(shop, scene.batch, advised, stamp)
        on_step("All units got a new seal, those that open wrongly wax as advised")
        on_step(
            "The night as left: conditioned, then recorded; the heated ones at set currents too"
        )
        left = _nights(shop, "as-left", at, locks, tell, pool)
        first, second = (
            _ended(shop, scene, nights, advised, shop.stamp(CERTIFIER, at))
            for scene, advised, *nights in zip((PLAIN, HEATED), advice, found, left, strict=True)
        )
    return Told(first, second, hours, refused)


def _nights(
    shop: Shop, stage: Stage, at: str, locks: Path, tell: Tell, pool: Executor
) -> tuple[NightDone, NightDone]:
    plain, heated = (
        (scene.bench, plan_night(shop, scene.batch, stage, scene.bench, scene.reference))
        for scene in (PLAIN, HEATED)
    )
    return night_on_both(pool, shop.path, (plain, heated), at, locks, tell)


def _ended(
    shop: Shop,
    scene: Scene,
    nights: Sequence[NightDone],
    advice: Sequence[UnitAdvice],
    signed: Stamp,
) -> BatchTold:
    """Certify a batch, write its papers, and return what became of it."""
    found, left = nights
    certified = certify(shop, scene.batch, signed)
    batch_summary(shop, scene.batch, signed)
    batch_labels(shop, scene.batch)
    with closing(Journal(shop.records.place)) as journal:
        hours = sum(hours_of(journal, done.outcome.run_id) for done in nights)
    return BatchTold(
        scene,
        shop.bench(scene.bench),
        hours,
        found.reports,
        tuple(advice),
        left.reports,
        night_folder(shop, left.outcome.run_id),
        tuple(judge_batch(shop, scene.batch, signed.day)),
        tuple(certified),
    )


def _serials(bench: BenchFile) -> list[str]:
    assert bench.virtual is not None
    sealed = (REFERENCE, HEATED_REFERENCE)
    return [unit.serial for unit in bench.virtual.unit if unit.serial not in sealed]


def _after(serial: str) -> str:
    name, _, last = serial.rpartition("-")
    return f"{name}-{int(last) + 1:04d}"


def _take_in(shop: Shop, scene: Scene, serials: Sequence[str], stamp: Stamp) -> str:
    """Open a batch and take its units in, but one that is not on the bench; return that one."""
    open_batch(
        shop,
        scene.batch,
        CUSTOMER,
        address=ADDRESS,
        contact="Engineering stores",
        received=stamp.day,
        type_name=scene.unit_type.name,
        stamp=stamp,
    )
    hung, refused = _serials(shop.bench(scene.bench)), ""
    for serial in serials:
        good = serial in hung
        add_unit(shop, Unit(serial=serial, unit_type=scene.unit_type.name), stamp)
        take_in(
            shop,
            scene.batch,
            serial,
            cause="rework",
            findings=GOOD if good else CRACKED,
            accepted=good,
            remark="gets a new seal" if good else "frame cracked at the seat",
            stamp=stamp,
        )
        refused = refused if good else serial
    return refused


def _rework(shop: Shop, batch: str, advice: Sequence[UnitAdvice], stamp: Stamp) -> None:
    """Rework every unit: what is put on record is done on the virtual bench."""
    for unit in advice:
        change_mg = unit.advice.change if unit.advice else 0.0
        put_rework(
            shop,
            batch,
            unit.serial,
            date=stamp.day,
            kind="wax" if change_mg else "part",
            amount=change_mg or None,
            text="wax as advised, new seal" if change_mg else "new seal, spring and seat cleaned",
            supplier_lot=None,
            stamp=stamp,
        )
