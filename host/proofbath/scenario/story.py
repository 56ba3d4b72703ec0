"""The demo's story: two batches from intake over as found, rework and as left to certificates.

The heated batch is ordered to open colder than it is marked, at the lift where an engine regulates.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import closing
from multiprocessing import get_context
from pathlib import Path
from typing import NamedTuple

from proofbath.bench.description import BenchFile
from proofbath.bench.unit_analysis import UnitReport
from proofbath.proof.ordered import Ordered
from proofbath.run.plan import NightPlan
from proofbath.run.profiles import TRIM
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
from proofbath.scenario.nights import Tell, calibrate_both, night_on_both, one_night
from proofbath.scenario.rework import rework, with_worn_stop
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
from proofbath.workshop.orders import put_order
from proofbath.workshop.papers import Certified, certify
from proofbath.workshop.planning import plan_night
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
ORDERED = Ordered(
    wanted_c=95.0,
    tolerance_k=2.0,
    lift_mm=2.0,
    text="order 118: auxiliary engines shall run colder, for the owner's new cooling circuit",
)
CRACKED = GOOD.model_copy(update={"cracks": "bad"})
WORN = 2
"""Which of the drawn units, from 0, has a bent stop and cannot be mended."""


class Scene(NamedTuple):
    """A batch, its type, the bench it hangs on beside a reference unit, and what was ordered."""

    batch: str
    unit_type: UnitType
    bench: str
    reference: str
    ordered: Ordered | None = None

    @property
    def lift_mm(self) -> float:
        """Lift at which its units are judged: that of the order, else the start-to-open's."""
        return self.ordered.lift_mm if self.ordered else self.unit_type.threshold_mm

    @property
    def wanted_c(self) -> float:
        """Where they shall come to it."""
        return self.ordered.wanted_c if self.ordered else self.unit_type.nominal_start_to_open_c

    @property
    def heated(self) -> bool:
        """Whether its units have heaters."""
        return self.unit_type.element_ohm is not None


PLAIN = Scene(BATCH, TEAL_82, BENCH, REFERENCE)
HEATED = Scene(HEATED_BATCH, HERON_103, HEATED_BENCH, HEATED_REFERENCE, ORDERED)


class BatchTold(NamedTuple):
    """A batch at its end: what was measured, advised, judged and certified."""

    scene: Scene
    bench: BenchFile
    hours: float
    as_found: tuple[UnitReport, ...]
    advice: tuple[UnitAdvice, ...]
    """After the night as found."""
    rounds: int
    """How often units were opened, each time but the last one measured by day."""
    as_left: tuple[UnitReport, ...]
    files: Path
    """Folder of the night as left."""
    judged: tuple[Judged, ...]
    certified: tuple[Certified, ...]

    def true_c(self) -> dict[int, float | None]:
        """Return where each unit truly comes to the lift judged, without power, by station."""
        assert self.bench.virtual is not None
        return {u.station: rising_c(u, self.scene.lift_mm) for u in self.bench.virtual.unit}

    def marked_c(self) -> float:
        """Return where a unit as marked comes to the lift judged.

        The marking states the start-to-open: how much warmer the lift comes is the mean of the
        units as found.
        """
        nominal_c = self.scene.unit_type.nominal_start_to_open_c
        pairs = [(one.now, one.start_now) for one in self.advice]
        later = [now.mean - start.mean for now, start in pairs if now and start]
        if self.scene.ordered is None or not later:
            return nominal_c
        return nominal_c + sum(later) / len(later)


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
        put_order(shop, HEATED_BATCH, ORDERED, stamp=stamp)
        on_step(
            f"{len(serials)} plain and {len(heated_serials)} heater-assisted units are taken in,"
            f" {refused} is refused: its frame is cracked; the heater-assisted ones are ordered to"
            f" open {ORDERED.lift_mm:g} mm at {ORDERED.wanted_c:g} °C"
        )
        on_step("The night as found on either bench: nothing has been touched")
        found = night_on_both(pool, shop, _as_found(shop), at, locks, tell)
        on_step(
            "All units are reworked as advised; the heater-assisted ones get other wax, are"
            " measured by day and trimmed until nothing is left to do"
        )
        on_step("The night as left on either bench: conditioned, then recorded")
        going_on = pool.submit(go_on, path, HEATED, at, locks)
        left = go_on(path, PLAIN, at, locks, tell)
        heated_left = going_on.result()  # signing holds the records longer than a night may wait
        signed = shop.stamp(CERTIFIER, at)
        first = _ended(shop, PLAIN, found[0], left, signed)
        second = _ended(shop, HEATED, found[1], heated_left, signed)
    return Told(first, second, hours, refused)


def _as_found(shop: Shop) -> tuple[tuple[str, NightPlan], tuple[str, NightPlan]]:
    first, second = (
        (scene.bench, plan_night(shop, scene.batch, "as-found", scene.bench, scene.reference))
        for scene in (PLAIN, HEATED)
    )
    return first, second


class GoneOn(NamedTuple):
    """What became of a batch after it was found: the first advice, the nights, the rounds."""

    advice: tuple[UnitAdvice, ...]
    nights: tuple[NightDone, ...]
    rounds: int


def go_on(path: Path, scene: Scene, at: str, locks: Path, tell: Tell = lambda _: None) -> GoneOn:
    """Rework a batch as advised, measure by day and rework again as advised, then as left.

    A plain batch is opened once: those that are not mended by then stay as they are.
    """
    with open_shop(path) as shop:
        stamp, heated = shop.stamp(CERTIFIER, at), scene.heated
        advice, nights, rounds = (
            advice_for(shop.records, scene.batch, shop.file.effort),
            list[NightDone](),
            0,
        )
        changed = rework(shop, scene.batch, advice, stamp, heated=heated, first=True)
        while changed:
            rounds += 1
            if not heated:
                break
            nights.append(_by_day(shop, scene, changed, at, locks))
            asked = advice_for(shop.records, scene.batch, shop.file.effort)
            changed = rework(shop, scene.batch, asked, stamp, heated=heated, first=False)
        plan = plan_night(shop, scene.batch, "as-left", scene.bench, scene.reference)
        nights.append(one_night(shop, scene.bench, plan, at, locks, tell=tell))
    return GoneOn(tuple(advice), tuple(nights), rounds)


def _by_day(shop: Shop, scene: Scene, serials: Sequence[str], at: str, locks: Path) -> NightDone:
    """Measure by day where units that were changed begin to open, which certifies nothing."""
    plan = plan_night(
        shop, scene.batch, "trial", scene.bench, scene.reference, serials, profile=TRIM
    )
    return one_night(shop, scene.bench, plan, at, locks)


def _ended(shop: Shop, scene: Scene, found: NightDone, rest: GoneOn, signed: Stamp) -> BatchTold:
    """Certify a batch, write its papers, and return what became of it."""
    left = rest.nights[-1]
    certified = certify(shop, scene.batch, signed)
    batch_summary(shop, scene.batch, signed)
    batch_labels(shop, scene.batch)
    with closing(Journal(shop.records.place)) as journal:
        hours = sum(hours_of(journal, done.outcome.run_id) for done in (found, *rest.nights))
    return BatchTold(
        scene,
        shop.bench(scene.bench),
        hours,
        found.reports,
        rest.advice,
        rest.rounds,
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
