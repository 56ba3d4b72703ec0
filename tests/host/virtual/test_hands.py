"""A rework of a virtual unit: what balance and pin told, within the hand's scatter."""

from __future__ import annotations

import math

import numpy as np
import pytest

from proofbath.proof.rework_act import ReworkAct
from proofbath.virtual.description import VirtualSection, VirtualUnit, VirtualWax
from proofbath.virtual.hands import (
    CLOSING_SD_MM,
    DOSING_SD_MG,
    PIN_SD_MM,
    SETTING_SD_MM,
    as_read,
    corrected,
    reworked,
    undone,
)
from proofbath.virtual.truth import rising_c, volume_lift_mm

UNITS = (
    VirtualUnit(serial="A1", station=1, copper_mg=700.0),
    VirtualUnit(serial="A2", station=2),
)
COLDER = VirtualWax(name="T82", melting_c=75.0, melting_width_k=3.0, filler=0.4)
BENCH = VirtualSection(seed=7, unit=UNITS, wax=(COLDER,))
WAX_ADDED = ReworkAct(mass_in_mg=10.0)
EXCHANGED = ReworkAct(mass_out_mg=1000.0, mass_in_mg=650.0, source="clean wax", donor_type="T82")
PIN_AREA_MM2 = math.pi / 4 * 4.3**2
COPPER_MG_PER_MM3 = 8.96
"""Density of copper, handbook figure at 20 °C."""


def start_c(bench: VirtualSection, lift_mm: float = 0.1) -> float:
    found = rising_c(bench.unit[0], lift_mm)
    assert found is not None
    return found


def test_clean_wax_changes_the_unit_and_no_other_and_its_start_moves_down() -> None:
    done = reworked(BENCH, "A1", WAX_ADDED)
    assert done.unit[0].wax_mg == pytest.approx(UNITS[0].wax_mg + 10.0, abs=5 * DOSING_SD_MG)
    assert done.unit[0].copper_mg == UNITS[0].copper_mg
    assert done.unit[0].melting_c == UNITS[0].melting_c
    assert done.unit[1] == UNITS[1]
    assert start_c(done) < start_c(BENCH)


def test_a_shim_opens_nothing() -> None:
    done = reworked(BENCH, "A1", ReworkAct(opened=False, shim_mm=0.5)).unit[0]
    assert done.setting_mm == pytest.approx(0.5, abs=5 * SETTING_SD_MM)
    assert done.cavity_mm3 == UNITS[0].cavity_mm3


def test_wax_out_of_a_stirred_fill_takes_its_share_of_metal_powder_with_it() -> None:
    """700 mg in 2000 mg: of 400 mg out 140 mg are powder, which made 15.6 mm³ of room."""
    done = reworked(BENCH, "A1", ReworkAct(mass_out_mg=400.0)).unit[0]
    assert done.copper_mg / done.wax_mg == pytest.approx(700 / 1300, rel=1e-9)
    assert done.copper_mg == pytest.approx(560.0, abs=2.0)
    room_mm3 = (700.0 - done.copper_mg) / COPPER_MG_PER_MM3
    closing_mm3 = 5 * CLOSING_SD_MM * PIN_AREA_MM2
    assert done.cavity_mm3 == pytest.approx(UNITS[0].cavity_mm3 + room_mm3, abs=closing_mm3)


def test_melting_point_and_width_are_means_by_mass_of_wax() -> None:
    """Half out of 1300 mg at 90 °C and 650 mg in at 75 °C: half way, and so is the width."""
    done = reworked(BENCH, "A1", EXCHANGED).unit[0]
    assert done.melting_c == pytest.approx(82.5, abs=0.05)
    assert done.melting_width_k == pytest.approx(3.6, abs=0.01)
    assert done.copper_mg == pytest.approx(350.0, abs=2.0)


def test_paste_brings_powder_and_a_units_own_paste_changes_no_melting() -> None:
    paste = ReworkAct(mass_in_mg=100.0, source="T82", donor_type="T82")
    done = reworked(BENCH, "A1", paste).unit[0]
    assert done.copper_mg == pytest.approx(740.0, abs=3.0)
    own = reworked(BENCH, "A1", ReworkAct(mass_in_mg=100.0, source="own fill")).unit[0]
    assert own.melting_c == UNITS[0].melting_c
    assert own.copper_mg == pytest.approx(735.0, abs=3.0)
    other = reworked(BENCH, "A1", ReworkAct(mass_in_mg=100.0, source="A2")).unit[0]
    assert other.copper_mg == pytest.approx(700.0 + 100.0 * 900 / 2200, abs=3.0)


def test_ten_kelvins_by_exchange_move_two_millimetres_alike_and_wax_added_by_less_than_half() -> (
    None
):
    """Half of a fill exchanged for wax that melts 20 K colder moves all lifts by nearly 10 K. Wax
    added until the start moved as far moves 2 mm by less than half of it (own computation on the
    element's equations: 20 mg move the start by 8.2 K and 2 mm by 3.2 K)."""
    colder = VirtualWax(name="T82", melting_c=70.0)
    bench = BENCH.model_copy(update={"wax": (colder,)})
    exchanged = reworked(bench, "A1", as_read(bench, "A1", by_pin(EXCHANGED)))
    by_exchange_k = start_c(bench, 2.0) - start_c(exchanged, 2.0)
    assert by_exchange_k == pytest.approx(10.0, abs=2.0)
    added = reworked(bench, "A1", ReworkAct(mass_in_mg=24.0))
    start_by_k = start_c(bench) - start_c(added)
    assert start_by_k == pytest.approx(10.0, abs=4.0)
    assert start_c(bench, 2.0) - start_c(added, 2.0) < start_by_k / 2


def by_pin(act: ReworkAct, stick_out_mm: float = 0.0) -> ReworkAct:
    return act.model_copy(update={"pin_before_mm": 10.0, "pin_after_mm": 10.0 + stick_out_mm})


def test_filled_by_the_pin_it_stands_out_as_wanted_whatever_that_takes() -> None:
    """The lift at 20 °C before and after, without the closing: the pin's own doubt is left."""
    act = as_read(BENCH, "A1", by_pin(EXCHANGED.model_copy(update={"mass_in_mg": 500.0}), -0.5))
    assert act.stick_out_mm == pytest.approx(-0.5, abs=0.02)
    done = reworked(BENCH, "A1", act).unit[0]
    filled = done.model_copy(update={"setting_mm": 0.0})
    rose_mm = volume_lift_mm(filled, 20.0) - volume_lift_mm(UNITS[0], 20.0)
    assert rose_mm == pytest.approx(-0.5, abs=5 * math.hypot(PIN_SD_MM, CLOSING_SD_MM))
    assert abs(act.mass_in_mg - 500.0) > 50.0, "what was foreseen was wrong, the pin says so"
    weighed_wax_mg = 650.0 + act.mass_in_mg
    assert done.wax_mg == pytest.approx(weighed_wax_mg, abs=10.0)


def test_a_pin_that_shall_stand_so_much_further_out_is_read_before_and_after() -> None:
    act = as_read(BENCH, "A1", EXCHANGED, -1.0)
    assert act.stick_out_mm == pytest.approx(-1.0, abs=0.011)
    by_balance = as_read(BENCH, "A1", EXCHANGED)
    assert by_balance.mass_in_mg == EXCHANGED.mass_in_mg
    assert by_balance.stick_out_mm is not None


def test_closing_deeper_takes_room_off_the_cavity() -> None:
    """A 10 mm bore closed 0.1 mm deeper takes 7.85 mm³ off."""
    flat = ReworkAct(closing_before_mm=20.0, closing_after_mm=20.0)
    deeper = flat.model_copy(update={"closing_after_mm": 19.9})
    closed, same = (reworked(BENCH, "A1", act).unit[0].cavity_mm3 for act in (deeper, flat))
    assert same - closed == pytest.approx(7.854, abs=1e-3)


def test_the_scatters_are_those_of_a_hand_and_the_same_again_from_the_same_bench() -> None:
    """400 draws of a normal spread: its own spread within 4 standard errors, sd / sqrt(2 n)."""
    assert reworked(BENCH, "A1", WAX_ADDED) == reworked(BENCH, "A1", WAX_ADDED)
    given, closed = [], []
    for number in range(400):
        after = reworked(BENCH.model_copy(update={"reworks": number}), "A1", WAX_ADDED)
        given.append(after.unit[0].wax_mg - UNITS[0].wax_mg - 10.0)
        closed.append((after.unit[0].cavity_mm3 - UNITS[0].cavity_mm3) / PIN_AREA_MM2)
        assert after.reworks == number + 1
    for found, sd in ((given, DOSING_SD_MG), (closed, CLOSING_SD_MM)):
        assert np.std(found, ddof=1) == pytest.approx(sd, abs=4 * sd / math.sqrt(800))
        assert np.mean(found) == pytest.approx(0.0, abs=4 * sd / math.sqrt(400))


def test_nothing_done_to_the_element_and_a_unit_that_hangs_elsewhere_change_nothing() -> None:
    assert reworked(BENCH, "A1", ReworkAct(opened=False)) is BENCH
    assert reworked(BENCH, "B9", WAX_ADDED) is BENCH


def test_a_slip_of_the_pen_is_undone_exactly() -> None:
    first = reworked(BENCH, "A1", EXCHANGED)
    wrong = reworked(first, "A1", ReworkAct(mass_in_mg=50.0))
    assert undone(wrong, "A1").unit == first.unit
    assert undone(undone(wrong, "A1"), "A1").unit == BENCH.unit
    assert undone(wrong, "A1").reworks == 2, "the hand's next slip is another one"
    right = ReworkAct(mass_in_mg=5.0)
    assert corrected(wrong, "A1", right) == reworked(first, "A1", right)
    assert corrected(wrong, "A1", ReworkAct(opened=False)).unit == first.unit


def test_more_wax_than_a_unit_can_hold_and_wax_that_nobody_described_are_refused() -> None:
    with pytest.raises(ValueError, match="wax_mg"):
        reworked(BENCH, "A1", ReworkAct(mass_in_mg=19_000.0))
    with pytest.raises(ValueError, match=r"Wigeon-90: give it a \[\[virtual.wax\]\]"):
        reworked(BENCH, "A1", ReworkAct(mass_in_mg=1.0, donor_type="Wigeon-90"))
