"""A rework put on record changes a virtual bench's unit, and never a real bench's file."""

from __future__ import annotations

from pathlib import Path

import pytest

from host.workshop.ferry_shop import BATCH, QUAY, FerryShop, ferry_shop
from proofbath.errors import InputError
from proofbath.proof.rework_act import ReworkAct
from proofbath.virtual.description import VirtualUnit
from proofbath.virtual.hands import DOSING_SD_MG
from proofbath.virtual.truth import rising_c
from proofbath.workshop.reworking import put_rework
from proofbath.workshop.virtual_rework import Done, read_by_hands, virtual_changes

HUNG = """
# Hung by Mara on Monday.
[[virtual.unit]]
serial = "A1"
station = 1
wax_mg = 1290.0  # weighed

[[virtual.unit]]
serial = "A2"
station = 2
"""
DONOR = """
[[virtual.wax]]
name = "Colder"
melting_c = 70.0
"""


def measured(ferry: FerryShop, folder: Path) -> None:
    """Hang two units into the bench's file and measure them as found."""
    path = folder / "quay.toml"
    path.write_text(path.read_text() + HUNG)
    ferry.batch(["A1", "A2"])
    ferry.night("as-found", {"A1": 85.0, "A2": 85.0})


def unit(ferry: FerryShop, serial: str) -> VirtualUnit:
    virtual = ferry.shop.bench(QUAY).virtual
    assert virtual is not None
    return next(unit for unit in virtual.unit if unit.serial == serial)


def test_wax_on_record_is_wax_in_the_virtual_unit_and_the_file_keeps_its_words(
    tmp_path: Path,
) -> None:
    with ferry_shop(tmp_path) as ferry:
        measured(ferry, tmp_path)
        before, other = unit(ferry, "A1"), unit(ferry, "A2")
        ferry.rework("A1", amount=10.0)
        after = unit(ferry, "A1")
        assert after.wax_mg == pytest.approx(before.wax_mg + 10.0, abs=5 * DOSING_SD_MG)
        assert after.wax_mg != before.wax_mg + 10.0, "no hand doses exactly"
        was_c, is_c = rising_c(before, 0.1), rising_c(after, 0.1)
        assert was_c is not None
        assert is_c is not None
        assert is_c < was_c
        assert unit(ferry, "A2") == other
        text = (tmp_path / "quay.toml").read_text()
        assert "# Hung by Mara on Monday." in text
        assert "# weighed" in text
        assert text.count("\nwax_mg") == 1
        first_mg = after.wax_mg - before.wax_mg
        ferry.rework("A2", amount=10.0)
        assert unit(ferry, "A2").wax_mg - other.wax_mg != pytest.approx(first_mg, abs=1e-3)


def test_a_corrected_slip_of_the_pen_takes_the_difference_back(tmp_path: Path) -> None:
    with ferry_shop(tmp_path) as ferry:
        measured(ferry, tmp_path)
        ferry.rework("A1", amount=40.0)
        wrong_mg = unit(ferry, "A1").wax_mg
        put_rework(
            ferry.shop,
            BATCH,
            "A1",
            date=ferry.day,
            kind="wax",
            amount=4.0,
            text="wax added",
            supplier_lot=None,
            stamp=ferry.stamp,
            reason="misread",
        )
        assert unit(ferry, "A1").wax_mg == pytest.approx(wrong_mg - 36.0, abs=1e-5)


def test_an_exchange_is_read_by_hands_done_put_in_the_file_and_cancelled_exactly(
    tmp_path: Path,
) -> None:
    """The fill melts where the shares by mass say: 90 and 70 °C, about half of each."""
    with ferry_shop(tmp_path) as ferry:
        path = tmp_path / "quay.toml"
        path.write_text(path.read_text() + HUNG + DONOR)
        before = unit(ferry, "A1")
        wanted = ReworkAct(
            mass_out_mg=1100.0,
            mass_in_mg=600.0,
            donor_type="Colder",
            pin_before_mm=10.0,
            pin_after_mm=10.0,
        )
        read = read_by_hands(ferry.shop, "A1", wanted)
        assert read.mass_in_mg != wanted.mass_in_mg, "filled by the pin"
        assert read.pin_before_mm != wanted.pin_before_mm
        first = Done("element", act=read)
        for change in virtual_changes(ferry.shop, "A1", first):
            change.write()
        done = unit(ferry, "A1")
        assert done.melting_c == pytest.approx(80.0, abs=1.0)
        more = Done("element", act=ReworkAct(mass_in_mg=12.0))
        for change in virtual_changes(ferry.shop, "A1", more):
            change.write()
        assert len(unit(ferry, "A1").was) == 2
        assert "# Hung by Mara on Monday." in path.read_text()
        for last in (more, first):
            for change in virtual_changes(ferry.shop, "A1", None, last):
                change.write()
        assert unit(ferry, "A1") == before


def test_a_wax_that_the_bench_does_not_describe_is_asked_for(tmp_path: Path) -> None:
    with ferry_shop(tmp_path) as ferry:
        path = tmp_path / "quay.toml"
        path.write_text(path.read_text() + HUNG)
        act = ReworkAct(mass_in_mg=12.0, donor_type="Wigeon-90")
        with pytest.raises(InputError, match=r"rework of A1: .* \[\[virtual.wax\]\]"):
            virtual_changes(ferry.shop, "A1", Done("element", act=act))


def test_what_is_refused_changes_nothing(tmp_path: Path) -> None:
    with ferry_shop(tmp_path) as ferry:
        measured(ferry, tmp_path)
        text = (tmp_path / "quay.toml").read_text()
        with pytest.raises(InputError, match="give mg"):
            ferry.rework("A1", amount=5000.0)
        put_rework(
            ferry.shop,
            BATCH,
            "A1",
            date=ferry.day,
            kind="cleaning",
            amount=None,
            text="x",
            supplier_lot=None,
            stamp=ferry.stamp,
        )
        assert (tmp_path / "quay.toml").read_text() == text


def test_a_real_benchs_file_is_never_touched(tmp_path: Path) -> None:
    with ferry_shop(tmp_path, port="/dev/serial/by-id/quay") as ferry:
        measured(ferry, tmp_path)
        text = (tmp_path / "quay.toml").read_bytes()
        ferry.rework("A1", amount=10.0)
        assert (tmp_path / "quay.toml").read_bytes() == text
