"""A rework of a virtual unit: what was asked for, within the hand's scatter."""

from __future__ import annotations

import math

import numpy as np
import pytest

from proofbath.virtual.description import VirtualSection, VirtualUnit
from proofbath.virtual.hands import DOSING_SD_MG, SETTING_SD_MM, corrected, reworked
from proofbath.virtual.truth import rising_c

UNITS = (VirtualUnit(serial="A1", station=1), VirtualUnit(serial="A2", station=2))
BENCH = VirtualSection(seed=7, unit=UNITS)


def test_wax_and_setting_change_the_unit_and_no_other_and_its_start_moves_down() -> None:
    done = reworked(BENCH, "A1", "wax", 10.0)
    assert done.unit[0].wax_mg == pytest.approx(UNITS[0].wax_mg + 10.0, abs=5 * DOSING_SD_MG)
    assert done.unit[1] == UNITS[1]
    before_c, after_c = rising_c(UNITS[0], 0.1), rising_c(done.unit[0], 0.1)
    assert before_c is not None
    assert after_c is not None
    assert after_c < before_c
    set_by = reworked(BENCH, "A2", "setting", -0.5).unit[1].setting_mm
    assert set_by == pytest.approx(-0.5, abs=5 * SETTING_SD_MM)


def test_the_scatter_is_that_of_a_hand_and_the_same_again_from_the_same_bench() -> None:
    """400 draws of a normal spread: its own spread within 4 standard errors, sd / sqrt(2 n)."""
    assert reworked(BENCH, "A1", "wax", 10.0) == reworked(BENCH, "A1", "wax", 10.0)
    bench, given = BENCH, []
    for _ in range(400):
        after = reworked(bench, "A1", "wax", 0.5)
        given.append(after.unit[0].wax_mg - bench.unit[0].wax_mg - 0.5)
        bench = after
    assert bench.reworks == 400
    assert np.std(given, ddof=1) == pytest.approx(DOSING_SD_MG, abs=4 / math.sqrt(800))
    assert np.mean(given) == pytest.approx(0.0, abs=4 / math.sqrt(400))


def test_a_part_and_a_unit_that_hangs_elsewhere_change_nothing() -> None:
    assert reworked(BENCH, "A1", "part", 0.0) is BENCH
    assert reworked(BENCH, "B9", "wax", 5.0) is BENCH


def test_a_slip_of_the_pen_is_undone_exactly() -> None:
    done = reworked(BENCH, "A1", "wax", 50.0)
    mended = corrected(corrected(done, "A1", "wax", -50.0), "A1", "wax", 5.0)
    scatter_mg = done.unit[0].wax_mg - UNITS[0].wax_mg - 50.0
    assert mended.unit[0].wax_mg == pytest.approx(UNITS[0].wax_mg + 5.0 + scatter_mg, abs=1e-5)
    assert mended.reworks == done.reworks


def test_more_wax_than_a_unit_can_hold_is_refused() -> None:
    with pytest.raises(ValueError, match="wax_mg"):
        corrected(BENCH, "A1", "wax", 20_000.0)
