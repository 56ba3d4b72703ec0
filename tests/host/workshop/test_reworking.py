"""Rework on record: refused, asked about, corrected, cancelled, and kept out of the bath."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from host.workshop.ferry_shop import BATCH, QUAY, TEAL_82, FerryShop, ferry_shop
from host.workshop.test_virtual_rework import measured, unit
from proofbath.errors import InputError
from proofbath.proof.rework_act import ReworkAct
from proofbath.proof.rework_kind import Refillable, Sealed
from proofbath.proof.rework_kind import Rework as ReworkKind
from proofbath.store.kinds import Rework
from proofbath.workshop.advice import advice_for
from proofbath.workshop.intake import TypeFile, put_type
from proofbath.workshop.judging import decide
from proofbath.workshop.planning import plan_night
from proofbath.workshop.rework_words import rework_in_words
from proofbath.workshop.reworking import Question, cancel_rework, put_rework
from proofbath.workshop.story import story_in

CLEAN_4 = ReworkAct(mass_in_mg=4.0)


@pytest.fixture
def ferry(tmp_path: Path) -> Iterator[FerryShop]:
    with ferry_shop(tmp_path) as made:
        yield made


@pytest.fixture
def found(ferry: FerryShop) -> FerryShop:
    """A batch whose unit A1 was measured as found."""
    ferry.calibrate()
    ferry.batch(["A1"])
    ferry.night("as-found", {"A1": 85.0})
    return ferry


def retyped(ferry: FerryShop, rework: ReworkKind, **figures: Any) -> None:
    """Put a second version of the type on record that is reworked so."""
    specification = TEAL_82.specification.model_copy(update={"version": 2})
    unit_type = TEAL_82.unit_type.model_copy(update=figures)
    put_type(
        ferry.shop,
        TypeFile(unit_type=unit_type, specification=specification, rework=rework),
        ferry.stamp,
    )


def opened(ferry: FerryShop, *, confirmed: bool = False, reason: str = "", **done: Any) -> int:
    """Put an act on A1's element on record."""
    return put_rework(
        ferry.shop,
        BATCH,
        "A1",
        date=ferry.day,
        kind="element",
        text="as the balance showed",
        act=ReworkAct(**done),
        stamp=ferry.stamp,
        reason=reason,
        confirmed=confirmed,
    )


def words_of(ferry: FerryShop) -> list[str]:
    """Return A1's reworks in words."""
    steps = story_in(ferry.shop.records, BATCH, "A1").steps
    return [rework_in_words(step.rework.entry) for step in steps if step.rework is not None]


def test_rework_waits_for_the_as_found_result(ferry: FerryShop) -> None:
    ferry.batch(["A1", "A2"])
    with pytest.raises(InputError, match="has no as-found result in ferry 12; measure it first"):
        ferry.rework("A1")
    ferry.night("as-found", {"A1": 85.0})
    ferry.rework("A1")
    with pytest.raises(InputError, match="A2: has no as-found result"):
        ferry.rework("A2")


def test_rework_is_dated_between_the_run_and_today_and_says_how_much(ferry: FerryShop) -> None:
    ferry.batch(["A1"])
    ferry.pass_days()
    ferry.night("as-found", {"A1": 85.0})

    def put(date: dt.date, kind: str = "wax", amount: float | None = 2.0) -> int:
        return put_rework(
            ferry.shop,
            BATCH,
            "A1",
            date=date,
            kind=kind,
            amount=amount,
            text="x",
            supplier_lot=None,
            stamp=ferry.stamp,
        )

    for date in (dt.date(2025, 10, 1), dt.date(2025, 10, 4)):
        with pytest.raises(InputError, match="must lie between the as-found run of 2025-10-02"):
            put(date)
    with pytest.raises(InputError, match="say by how many mg"):
        put(ferry.day, amount=None)
    with pytest.raises(InputError, match="is refillable, which bears no change of setting"):
        put(ferry.day, "setting")
    assert put(ferry.day, "cleaning", None)


def test_an_unbelievable_dose_is_refused_and_a_wrong_one_corrected(ferry: FerryShop) -> None:
    """Grams typed for milligrams would teach that wax does next to nothing."""
    ferry.batch(["A1"])
    ferry.night("as-found", {"A1": 85.0})
    for amount in (5000.0, -101.0, float("nan")):
        with pytest.raises(InputError, match="mg, believable are 100 at most; give mg"):
            ferry.rework("A1", amount=amount)

    def put(amount: float, reason: str) -> int:
        return put_rework(
            ferry.shop,
            BATCH,
            "A1",
            date=ferry.day,
            kind="wax",
            amount=amount,
            text="wax added",
            supplier_lot=None,
            stamp=ferry.stamp,
            reason=reason,
        )

    with pytest.raises(InputError, match="none is on record in ferry 12; nothing to correct"):
        put(4.0, "misread")
    first = ferry.rework("A1", amount=40.0)
    assert put(4.0, "the balance said 4.0") == first
    (kept,) = ferry.shop.records.current(Rework)
    assert (kept.root, kept.entry.act, kept.reason) == (first, CLEAN_4, "the balance said 4.0")


def test_a_sealed_element_takes_no_wax(ferry: FerryShop) -> None:
    retyped(ferry, Sealed())
    ferry.batch(["A1"])
    ferry.night("as-found", {"A1": 85.0})
    with pytest.raises(InputError, match="the type is sealed, which bears no change of wax"):
        ferry.rework("A1")
    decided = decide(ferry.shop, BATCH, ferry.stamp)
    assert decided[0].next_step.words == "fail it and give it back: its element is sealed"


def test_wax_without_more_words_is_clean_wax_into_an_opened_element(found: FerryShop) -> None:
    found.rework("A1", amount=4.0)
    found.rework("A1", amount=-3.0)
    acts = [kept.entry.act for kept in found.shop.records.current(Rework)]
    assert acts == [CLEAN_4, ReworkAct(mass_out_mg=3.0)]
    assert {(k.entry.kind, k.entry.amount) for k in found.shop.records.current(Rework)} == {
        ("element", None)
    }
    assert words_of(found) == [
        "opened, 4 mg of clean wax in: wax added",
        "opened, 3 mg out: wax added",
    ]


def test_all_that_hands_read_is_told_in_words(found: FerryShop) -> None:
    opened(
        found,
        mass_out_mg=400.0,
        mass_in_mg=380.5,
        source="T82-0412",
        donor_type="Wigeon-90",
        mass_before_mg=60_000.0,
        mass_after_mg=59_981.0,
        closing_before_mm=11.25,
        closing_after_mm=11.2,
        pin_before_mm=10.3,
        pin_after_mm=10.32,
        shim_mm=-0.1,
        sealed_by="new lip",
        openings_left=1,
    )
    assert words_of(found) == [
        "opened, 400 mg out, 380.5 mg of Wigeon-90 wax of T82-0412 in, shims −0.1 mm, closed 0.05"
        " mm deeper, cold pin stands out 10.32 mm, 10.30 mm before, unit −19 mg, new lip, 1 opening"
        " left: as the balance showed"
    ]


def test_the_same_rework_typed_twice_is_asked_about_once(found: FerryShop) -> None:
    found.rework("A1")
    with pytest.raises(Question, match=r"the same is on record since 2025-10-02 18:00 UTC"):
        found.rework("A1")
    opened(found, mass_in_mg=4.0, confirmed=True)
    assert len(found.shop.records.current(Rework)) == 2
    found.pass_days()
    found.rework("A1")


def test_the_same_after_a_measurement_is_another_round(found: FerryShop) -> None:
    found.rework("A1")
    found.night("as-left", {"A1": 84.0})
    found.rework("A1")
    assert len(words_of(found)) == 2


@pytest.mark.parametrize(("after_mg", "asked"), [(60_009.9, False), (60_010.5, True)])
def test_masses_that_do_not_fit_are_asked_about(
    found: FerryShop, after_mg: float, asked: bool
) -> None:
    """Three times the root of four weighings of 1 mg each are 6 mg; in less out is 4 mg."""
    done = {"mass_out_mg": 2.0, "mass_in_mg": 6.0, "mass_before_mg": 60_000.0}
    if asked:
        with pytest.raises(Question, match=r"changed by \+10.5 mg, in less out is \+4.0 mg"):
            opened(found, mass_after_mg=after_mg, **done)
        assert found.shop.records.current(Rework) == []
        opened(found, mass_after_mg=after_mg, confirmed=True, **done)
    else:
        opened(found, mass_after_mg=after_mg, **done)
    assert len(found.shop.records.current(Rework)) == 1


@pytest.mark.parametrize(
    ("out_mg", "in_mg", "refused"),
    [(0, 101, True), (0, 99, False), (300, 690, False), (300, 710, True), (1300, 13, True)],
)
def test_masses_that_no_fill_can_have_are_refused(
    found: FerryShop, out_mg: float, in_mg: float, refused: bool
) -> None:
    """100 mg and what metal powder weighs of the smaller mass."""
    if refused:
        with pytest.raises(InputError, match="give mg, and both masses"):
            opened(found, mass_out_mg=out_mg, mass_in_mg=in_mg, confirmed=True)
    else:
        opened(found, mass_out_mg=out_mg, mass_in_mg=in_mg)


@pytest.mark.parametrize(("out_mg", "refused"), [(1940.0, False), (1960.0, True)])
def test_no_more_comes_out_than_a_unit_holds(
    ferry: FerryShop, out_mg: float, refused: bool
) -> None:
    """One and a half times the type's 1300 mg are 1950 mg."""
    retyped(ferry, Refillable(wax_mg=1300.0))
    ferry.batch(["A1"])
    ferry.night("as-found", {"A1": 85.0})
    if refused:
        with pytest.raises(InputError, match="whose type is filled with 1300 mg"):
            opened(ferry, mass_out_mg=out_mg, mass_in_mg=1300.0)
    else:
        opened(ferry, mass_out_mg=out_mg, mass_in_mg=1300.0)


def test_a_cancelled_rework_was_never_done(found: FerryShop) -> None:
    with pytest.raises(InputError, match="A1: none is on record in ferry 12; nothing to"):
        cancel_rework(found.shop, BATCH, "A1", why="typed twice", stamp=found.stamp)
    first = found.rework("A1")
    second = found.rework("A1", amount=5.0)
    with pytest.raises(InputError, match="say why it is cancelled"):
        cancel_rework(found.shop, BATCH, "A1", why=" ", stamp=found.stamp)
    assert cancel_rework(found.shop, BATCH, "A1", why="slip", stamp=found.stamp) == second
    assert words_of(found) == ["opened, 4 mg of clean wax in: wax added"]
    kept = found.shop.records.one(Rework, second)
    assert (kept.entry.cancelled, kept.reason) == (True, "slip")
    assert cancel_rework(found.shop, BATCH, "A1", why="slip", stamp=found.stamp) == first
    story = story_in(found.shop.records, BATCH, "A1")
    assert (story.reworked, story.present) == (False, story.counting("as-found"))
    found.shop.records.verify()


def test_a_rework_typed_twice_is_cancelled_after_it_was_measured(found: FerryShop) -> None:
    found.rework("A1")
    opened(found, mass_in_mg=4.0, confirmed=True)
    found.night("as-left", {"A1": 83.0})
    cancel_rework(found.shop, BATCH, "A1", why="typed twice", stamp=found.stamp)
    story = story_in(found.shop.records, BATCH, "A1")
    assert [step.stage for step in story.steps] == ["as-found", "rework", "as-left"]
    assert story.present is story.steps[-1]


def test_a_virtual_unit_is_as_before_once_its_rework_is_cancelled(
    ferry: FerryShop, tmp_path: Path
) -> None:
    measured(ferry, tmp_path)
    before = unit(ferry, "A1")
    opened(ferry, mass_out_mg=100.0, mass_in_mg=80.0)
    assert unit(ferry, "A1").wax_mg != before.wax_mg
    cancel_rework(ferry.shop, BATCH, "A1", why="of another unit", stamp=ferry.stamp)
    assert unit(ferry, "A1") == before


def test_an_act_that_the_type_cannot_have_is_refused(ferry: FerryShop) -> None:
    retyped(ferry, Sealed())
    ferry.batch(["A1"])
    ferry.night("as-found", {"A1": 85.0})
    with pytest.raises(InputError, match="the type is sealed, which bears no change of element"):
        opened(ferry, mass_in_mg=4.0)


def test_the_heater_that_is_not_there_has_no_insulation(found: FerryShop) -> None:
    with pytest.raises(InputError, match="a Teal-82 has no heater; leave insulation_mohm out"):
        opened(found, mass_in_mg=4.0, insulation_mohm=200.0)


def test_a_closure_without_an_opening_left_is_asked_about_and_not_heated(
    ferry: FerryShop,
) -> None:
    retyped(ferry, Refillable(openings=1))
    ferry.calibrate()
    ferry.batch(["A1"])
    ferry.night("as-found", {"A1": 85.0})
    opened(ferry, mass_in_mg=4.0)
    ferry.night("as-left", {"A1": 84.0})
    with pytest.raises(Question, match="its closure had no opening left"):
        opened(ferry, mass_in_mg=3.0)
    opened(ferry, mass_in_mg=3.0, confirmed=True)
    with pytest.raises(InputError, match="A1: its closure was opened once more often than it"):
        plan_night(ferry.shop, BATCH, "as-left", QUAY)
    opened(ferry, mass_in_mg=3.0, openings_left=2, reason="a new lip was pressed in")
    plan_night(ferry.shop, BATCH, "as-left", QUAY)


@pytest.mark.parametrize(
    ("mohm", "words"),
    [
        (None, "insulation was not measured since"),
        (0.9, "has 0.9 MΩ against the case, at least 1 is wanted"),
        (1.1, None),
    ],
)
def test_a_heater_is_measured_again_before_it_is_heated(
    ferry: FerryShop, mohm: float | None, words: str | None
) -> None:
    """1 MΩ at least: common practice, no source."""
    retyped(ferry, Refillable(), kind="heater-assisted", element_max_a=1.5, element_ohm=9.0)
    ferry.batch(["A1"])
    ferry.night("as-found", {"A1": 85.0})
    opened(ferry, mass_in_mg=4.0, insulation_mohm=mohm)
    if words is None:
        plan_night(ferry.shop, BATCH, "as-left", QUAY)
        return
    for stage in ("as-left", "trial"):
        with pytest.raises(InputError, match=f"A1: .*{words}"):
            plan_night(ferry.shop, BATCH, stage, QUAY, serials=["A1"])  # type: ignore[arg-type]


def test_a_pin_that_stands_too_far_out_is_not_heated(found: FerryShop) -> None:
    """10 mg of wax over a 4.3 mm pin are 0.77 mm: 1.1 mm3/mg cold by its area of 14.5 mm2."""
    opened(found, mass_in_mg=10.0, pin_before_mm=10.0, pin_after_mm=12.5)
    with pytest.raises(InputError, match=r"A1: its cold pin stands \+2.50 mm further out"):
        plan_night(found.shop, BATCH, "as-left", QUAY)
    opened(found, mass_in_mg=10.0, pin_before_mm=10.0, pin_after_mm=10.77, reason="read again")
    plan_night(found.shop, BATCH, "as-left", QUAY)


def test_a_round_of_the_wrong_sign_is_asked_about_before_the_next(found: FerryShop) -> None:
    """20 mg more that opened it 3 K warmer cannot be: clean wax opens it colder."""
    found.rework("A1", amount=20.0)
    found.night("as-left", {"A1": 88.0})
    with pytest.raises(Question, match=r"its rework of 2025-10-02 moved the curve by -"):
        found.rework("A1", amount=5.0)
    (told,) = advice_for(found.shop.records, BATCH)
    assert "look whether what went on record is what was done" in told.lines[-1]
    put_rework(
        found.shop,
        BATCH,
        "A1",
        date=dt.date(2025, 10, 2),
        kind="wax",
        amount=-20.0,
        text="wax taken out",
        stamp=found.stamp,
        reason="the sign was wrong",
    )
    (told,) = advice_for(found.shop.records, BATCH)
    assert "look whether" not in " ".join(told.lines)
    found.rework("A1", amount=5.0)
