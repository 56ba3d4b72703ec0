"""Drawn populations against the spreads stated for trials.

They are an own computation done apart from this code; the model's parameters are engineering
memory, no source.
"""

from __future__ import annotations

import numpy as np
import pytest

from proofbath.virtual.description import VirtualUnit
from proofbath.virtual.population import draw_bench, draw_unit
from proofbath.virtual.truth import rising_c

TEAL_82 = VirtualUnit(serial="T82-MODEL", station=1)


def test_as_found_starts_spread_as_stated() -> None:
    """Standard deviation 2.3 K, 31 % outside +- 2 K, extremes at 65 degC; 2,000 units here."""
    rng = np.random.default_rng(0)
    starts = [rising_c(draw_unit(rng, TEAL_82, "T82-1", 1), 0.1) for _ in range(2000)]
    start_c = np.array([c for c in starts if c is not None])
    assert start_c.size == 2000
    assert np.std(start_c) == pytest.approx(2.3, abs=0.25)
    assert np.mean(np.abs(start_c - 82.1) > 2.0) == pytest.approx(0.31, abs=0.035)
    assert start_c.min() < 70.0


def test_friction_moves_the_start_as_stated() -> None:
    """0.075 K in the median, 0.15 K at 95 %."""
    rng = np.random.default_rng(8)
    moved = []
    for _ in range(500):
        unit = draw_unit(rng, TEAL_82, "T82-1", 1)
        with_c, without_c = rising_c(unit, 0.1), rising_c(unit, 0.1, friction=False)
        assert with_c is not None
        assert without_c is not None
        moved.append(with_c - without_c)
    assert np.median(moved) == pytest.approx(0.075, abs=0.01)
    assert np.quantile(moved, 0.95) == pytest.approx(0.15, abs=0.02)


def test_seed_draws_one_bench_and_another_seed_another() -> None:
    assert draw_bench(3, TEAL_82) == draw_bench(3, TEAL_82)
    assert draw_bench(3, TEAL_82) != draw_bench(4, TEAL_82)


def test_units_without_heater_stay_without() -> None:
    plain = TEAL_82.model_copy(update={"heater_ohm": 0.0})
    assert all(u.heater_ohm == 0.0 for u in draw_bench(3, plain, count=3).unit)
