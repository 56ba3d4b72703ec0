"""Lines through calibration points: GUM H.3, closed forms, and intervals that hold."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from proofbath.bench.reference_line import fit_reference_line
from proofbath.errors import InputError

DATA = Path(__file__).parents[2] / "data"


def gum_h3() -> tuple[list[float], list[float]]:
    """Readings and corrections of JCGM 100:2008 table H.6."""
    with (DATA / "gum_h3_data.csv").open() as file:
        rows = list(csv.DictReader(file))
    return [float(r["t_k_degC"]) for r in rows], [float(r["b_k_degC"]) for r in rows]


def test_a_thermometers_line_is_that_of_gum_h3() -> None:
    """JCGM 100:2008 H.3.3: intercept, slope, their standard deviations, correlation, s."""
    t_c, b_k = gum_h3()
    line = fit_reference_line(t_c, b_k, [0.0] * 11, at=20.0)
    assert line.intercept == pytest.approx(-0.1712, abs=5e-5)
    assert line.slope == pytest.approx(0.00218, abs=5e-6)
    assert math.sqrt(line.scatter[0, 0]) == pytest.approx(0.0029, abs=5e-5)
    assert line.slope_u == pytest.approx(0.00067, abs=5e-6)
    assert line.correlation == pytest.approx(-0.930, abs=5e-4)
    assert line.residual_sd == pytest.approx(0.0035, abs=5e-5)
    # H.3.4: b(30 °C) and its standard uncertainty with 9 degrees of freedom.
    assert line.value(30.0) == pytest.approx(-0.1494, abs=5e-5)
    assert line.uncertainty(30.0).standard_uncertainty == pytest.approx(0.0041, abs=5e-5)
    assert line.uncertainty(30.0).degrees_of_freedom == pytest.approx(9)
    # Table G.2: t of 95 % at 9 degrees of freedom.
    assert line.uncertainty(30.0).coverage_factor == pytest.approx(2.26, abs=0.005)


def test_the_line_of_two_points_is_as_uncertain_at_them_as_they_are() -> None:
    line = fit_reference_line([0.0, 100.0], [0.1, -0.2], [0.03, 0.05])
    assert line.uncertainty(0.0).standard_uncertainty == pytest.approx(0.03)
    assert line.uncertainty(100.0).standard_uncertainty == pytest.approx(0.05)
    # Halfway: half of each, by the law of propagation.
    half = math.hypot(0.03, 0.05) / 2
    assert line.uncertainty(50.0).standard_uncertainty == pytest.approx(half)
    assert line.uncertainty(50.0).degrees_of_freedom == math.inf


def test_what_all_points_share_moves_the_line_as_a_whole() -> None:
    t_c, b_k = gum_h3()
    alone = fit_reference_line(t_c, b_k, [0.0] * 11)
    shared = fit_reference_line(t_c, b_k, [0.0] * 11, [0.02] * 11)
    for at_c in (10.0, 24.0, 80.0):
        u = math.hypot(alone.uncertainty(at_c).standard_uncertainty, 0.02)
        assert shared.uncertainty(at_c).standard_uncertainty == pytest.approx(u)
    assert shared.slope_u == pytest.approx(alone.slope_u)


def test_intervals_from_scatter_alone_hold_what_they_claim() -> None:
    """Student's t over an honest normal scatter covers 95 %: binomial 99.9 % band of 2000."""
    rng = np.random.default_rng(3)
    x = np.array([0.0, 25.0, 50.0, 75.0, 100.0])
    held = 0
    for _ in range(2000):
        line = fit_reference_line(x, 0.3 + 0.002 * x + rng.normal(0, 0.04, 5), [0.0] * 5)
        held += abs(line.value(82.0) - 0.464) <= line.uncertainty(82.0).expanded_uncertainty
    assert abs(held / 2000 - 0.95) < 3.3 * math.sqrt(0.95 * 0.05 / 2000)


@pytest.mark.parametrize("x", [[], [1.0], [5.0, 5.0, 5.0]])
def test_points_that_make_no_line_are_refused(x: list[float]) -> None:
    with pytest.raises(InputError, match="at two places"):
        fit_reference_line(x, x, [0.0] * len(x))
