"""`batch rework` and `cancel-rework` as hands meet them: by options, by questions, as advised."""

from __future__ import annotations

import json
from collections.abc import Iterator
from io import StringIO
from pathlib import Path

import pytest

from host.cli.conftest import Call
from host.workshop.ferry_shop import BATCH, OPERATOR, FerryShop, ferry_shop
from proofbath.cli import VERBS
from proofbath.proof.rework_act import ReworkAct
from proofbath.store.kinds import Rework
from proofbath.workshop.advice import advice_for

Arguments = tuple[object, ...]
BY = ("--by", OPERATOR)
DAY = ("--date", "2025-10-02")
REWORK = ("batch", "rework", BATCH, "T82-1", *BY)


@pytest.fixture(autouse=True)
def verb(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(VERBS, "batch", "A customer's units.")
    monkeypatch.setitem(VERBS, "rework", "What to change.")


@pytest.fixture
def ferry(tmp_path: Path) -> Iterator[FerryShop]:
    with ferry_shop(tmp_path) as made:
        yield made


@pytest.fixture
def shop(tmp_path: Path, ferry: FerryShop) -> Arguments:
    return ("--shop", tmp_path / "workshop.toml")


@pytest.fixture
def found(ferry: FerryShop) -> FerryShop:
    ferry.calibrate()
    ferry.batch(["T82-1"])
    ferry.night("as-found", {"T82-1": 86.0})
    return ferry


def typed(monkeypatch: pytest.MonkeyPatch, *answers: str) -> None:
    """Let answers be typed; Enter is an empty one."""
    monkeypatch.setattr("sys.stdin", StringIO("\n".join([*answers, ""])))


def last(ferry: FerryShop) -> Rework:
    """Return the last rework on record."""
    return ferry.shop.records.current(Rework)[-1].entry


def test_rework_is_put_on_record_after_a_measurement(
    call: Call, ferry: FerryShop, shop: Arguments
) -> None:
    ferry.batch(["T82-1"])
    change = ("--kind", "wax", "--amount", "4", "--text", "wax added", "--lot", "W3")
    rework = ("batch", "rework", BATCH, "T82-1", *change, *BY, *shop)
    early = call(*rework)
    assert (early.status, early.out) == (2, "")
    assert "has no as-found result" in early.err
    ferry.calibrate()
    ferry.night("as-found", {"T82-1": 86.0})
    said = call(*rework, "--date", ferry.day.isoformat())
    assert (said.status, said.out) == (0, "T82-1: on record; measure it as left next\n")
    (kept,) = ferry.shop.records.current(Rework)
    assert (kept.entry.act, kept.entry.supplier_lot) == (ReworkAct(mass_in_mg=4.0), "W3")


def test_an_opened_element_is_said_by_options_and_corrected(
    call: Call, found: FerryShop, shop: Arguments
) -> None:
    masses = ("--mass-out-mg", "12", "--mass-in-mg", "30.5", "--openings-left", "2")
    pin = ("--pin-before-mm", "10", "--pin-after-mm", "11.4", "--bubbles-gone")
    said = call(*REWORK, *DAY, *masses, *pin, "--text", "opened", *shop, "--json")
    assert said.status == 0, said.err
    assert json.loads(said.out)["held"] == []
    act = last(found).act
    assert act == ReworkAct(
        mass_out_mg=12.0,
        mass_in_mg=30.5,
        openings_left=2,
        pin_before_mm=10.0,
        pin_after_mm=11.4,
        bubbles_gone=True,
    )
    fixed = call(*REWORK, "--correct", "pin read again", "--pin-after-mm", "15", *shop)
    assert (fixed.status, last(found).text) == (0, "opened")
    assert last(found).act == act.model_copy(update={"pin_after_mm": 15.0})
    assert "not heated before: its cold pin stands +5.00 mm further out" in fixed.out
    gone = call("batch", "cancel-rework", BATCH, "T82-1", "--why", "of T82-2", *BY, *shop)
    assert (gone.status, gone.out) == (0, "T82-1: its last rework is cancelled\n")
    assert last(found).cancelled


def test_hands_are_asked_one_thing_after_the_other(
    call: Call, found: FerryShop, shop: Arguments, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A type without shims, other waxes and heater: twelve questions; a slip is asked again."""
    typed(
        monkeypatch,
        *("61000", "10,2", "", "twelve", "12", "30", "", "y"),
        *("11.6", "", "new lip", "61018", "2"),
    )
    said = call(*REWORK, *DAY, *shop)
    assert said.status == 0, said.err
    assert "Hold molten wax until no bubbles rise, and fill it warm (common practice)" in " ".join(
        said.err.split()
    )
    assert "'twelve' is no number" in said.err
    assert "hot wax and oil burn" in said.err
    assert last(found).act == ReworkAct(
        mass_before_mg=61_000.0,
        pin_before_mm=10.2,
        mass_out_mg=12.0,
        mass_in_mg=30.0,
        bubbles_gone=True,
        pin_after_mm=11.6,
        sealed_by="new lip",
        mass_after_mg=61_018.0,
        openings_left=2,
    )


def test_what_is_advised_is_taken_by_enter(
    call: Call, found: FerryShop, shop: Arguments, monkeypatch: pytest.MonkeyPatch
) -> None:
    (advice,) = advice_for(found.shop.records, "T82-1")
    assert advice.to_do is not None
    assert advice.advice is not None
    assert advice.advice.act is not None
    further_mm = advice.advice.act.pin_stick_out_mm
    assert further_mm is not None, "filled by the pin: only hands know how many mg that took"
    typed(monkeypatch, *[""] * 14)
    unsaid = call(*REWORK, *DAY, "--as-advised", *shop)
    assert (unsaid.status, found.shop.records.current(Rework)) == (2, [])
    assert "say how many mg went in" in unsaid.err
    typed(monkeypatch, "", "10", "", "", "21.5", *[""] * 8)
    said = call(*REWORK, *DAY, "--as-advised", *shop)
    assert said.status == 0, said.err
    assert f"T82-1: {advice.next_act}" in said.err
    act = advice.to_do.model_copy(
        update={
            "mass_in_mg": 21.5,
            "bubbles_gone": True,
            "pin_before_mm": 10.0,
            "pin_after_mm": round(10.0 + further_mm, 2),
        }
    )
    assert (last(found).act, last(found).text) == (act, "as advised")


def test_what_may_be_a_slip_is_asked_and_answered_by_yes(
    call: Call, found: FerryShop, shop: Arguments
) -> None:
    change = (*REWORK, *DAY, "--mass-in-mg", "4", *shop)
    assert call(*change).status == 0
    again = call(*change)
    assert (again.status, again.out) == (2, "")
    assert "the same is on record since" in again.err
    assert "say --yes where it is so; nothing is on record yet" in again.err
    assert call(*change, "--yes").status == 0
    assert len(found.shop.records.current(Rework)) == 2


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--kind", "cleaning", "--text", "x", "--pin-after-mm", "3"), "--pin-after-mm is said of"),
        (("--kind", "part"), "say with --text what was done"),
        (("--amount", "4"), "say with --kind what was changed"),
        (("--not-opened", "--mass-in-mg", "4"), "on an element that was not opened"),
        (("--donor-type", "Wigeon-90", "--mass-out-mg", "90"), "say how many mg went in, or what"),
    ],
)
def test_what_does_not_go_together_is_refused(
    call: Call, found: FerryShop, shop: Arguments, options: Arguments, words: str
) -> None:
    said = call(*REWORK, *DAY, *options, *shop)
    assert (said.status, said.out) == (2, "")
    assert words in said.err
    assert found.shop.records.current(Rework) == []


def test_wax_that_was_not_weighed_is_what_the_whole_unit_gained(
    call: Call, found: FerryShop, shop: Arguments
) -> None:
    """In is after less before and out: 61 018 - 61 000 + 12 mg."""
    whole = ("--mass-before-mg", "61000", "--mass-after-mg", "61018", "--mass-out-mg", "12")
    assert call(*REWORK, *DAY, *whole, *shop).status == 0
    act = last(found).act
    assert act is not None
    assert act.mass_in_mg == 30.0


def test_what_rework_takes_is_the_shops_and_reaches_an_open_batch(
    call: Call, found: FerryShop, shop: Arguments, tmp_path: Path
) -> None:
    file = tmp_path / "workshop.toml"
    before = json.loads(call("rework", "T82-1", *shop, "--json").out)["units"][0]
    assert before["action"] != "give up"
    file.write_text(file.read_text().replace("give_up_min = 480.0", "give_up_min = 1.0"))
    after = json.loads(call("rework", "T82-1", *shop, "--json").out)["units"][0]
    assert (after["action"], after["cause"]) == ("give up", "price")
    assert "a unit that is not delivered counts 1 ([effort] of the workshop" in after["next_act"]
