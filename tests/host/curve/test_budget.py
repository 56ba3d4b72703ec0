"""Budgets, calibration fit and Monte Carlo against the GUM's and JCGM 101's worked examples."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from GTC import core
from scipy import stats

from host.curve.closed_form import StraightUnit, night, record_of
from host.curve.monte_carlo import Drawn, propagate, propagate_budget
from proofbath.curve.analyse import analyse
from proofbath.curve.bench_budget import BenchBudget
from proofbath.curve.budget import Contribution, combine, coverage_factor
from proofbath.curve.fitting import fit_linear
from proofbath.curve.thermometer import fit_correction
from proofbath.errors import InputError

DATA = Path(__file__).parents[2] / "data"


def rows(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((DATA / name).read_text().splitlines()))


def test_end_gauge_budget_of_gum_h1() -> None:
    """JCGM 100:2008 H.1: u_c 32 nm, nu_eff 16, k 2.92, U99 93 nm (first order)."""
    items = [
        Contribution(
            row["component"],
            float(row["u"]),
            float(row["sensitivity_nm_per_unit"]),
            float(row["dof"]),
        )
        for row in rows("gum_h1_budget.csv")
    ]
    total = combine(items, level=0.99)
    assert total.standard_uncertainty == pytest.approx(32, abs=0.5)
    assert math.floor(total.degrees_of_freedom) == 16
    assert total.coverage_factor == pytest.approx(2.92, abs=0.005)
    assert total.expanded_uncertainty == pytest.approx(93, abs=1)


def test_effective_degrees_of_freedom_of_gum_g41() -> None:
    """JCGM 100:2008 G.4.1: 0.25, 0.57, 0.82 % of n 10, 5, 15 give 1.03 %, 19.0, 2.09, 2.2 %."""
    items = [
        Contribution("x1", 0.25, 1.0, 9),
        Contribution("x2", 0.57, 1.0, 4),
        Contribution("x3", 0.82, 1.0, 14),
    ]
    total = combine(items)
    assert total.standard_uncertainty == pytest.approx(1.03, abs=0.005)
    assert total.degrees_of_freedom == pytest.approx(19.0, abs=0.05)
    assert total.coverage_factor == pytest.approx(2.09, abs=0.005)
    assert total.expanded_uncertainty == pytest.approx(2.2, abs=0.05)


@pytest.mark.parametrize("row", rows("gum_g2_t_factors.csv"), ids=lambda row: row["nu"])
def test_coverage_factors_are_those_of_gum_table_g2(row: dict[str, str]) -> None:
    """JCGM 100:2008 table G.2 to the digits it prints, from memory: two, three in the last rows."""
    for level, printed in ((0.95, row["p95_from_memory"]), (0.99, row["p99_from_memory"])):
        half_digit = 0.5 * 10.0 ** -len(printed.partition(".")[2])
        assert coverage_factor(float(row["nu"]), level) == pytest.approx(
            float(printed), abs=1.001 * half_digit
        )


@pytest.mark.parametrize("level", [0.6827, 0.95, 0.99])
def test_coverage_factors_of_one_and_two_degrees_in_closed_form(level: float) -> None:
    """Student's t: tan(pi p / 2) for one degree of freedom, p sqrt(2 / (1 - p^2)) for two."""
    assert coverage_factor(1.0, level) == pytest.approx(math.tan(math.pi * level / 2), rel=1e-9)
    closed = level * math.sqrt(2.0 / (1.0 - level**2))
    assert coverage_factor(2.0, level) == pytest.approx(closed, rel=1e-9)


def test_correlated_inputs_agree_with_gtc() -> None:
    """GTC (Measurement Standards Laboratory of New Zealand) as oracle for GUM eq. 16."""
    x = core.ureal(1.0, 0.3, label="x", independent=False)
    y = core.ureal(2.0, 0.4, label="y", independent=False)
    core.set_correlation(-0.7, x, y)
    oracle = 2 * x + 3 * y
    ours = combine([Contribution("x", 0.3, 2.0), Contribution("y", 0.4, 3.0)], {("x", "y"): -0.7})
    assert ours.standard_uncertainty == pytest.approx(oracle.u, rel=1e-12)


def test_degrees_of_freedom_agree_with_gtc() -> None:
    parts = [(0.05, 3.0), (0.12, 8.0), (0.2, 40.0)]
    oracle = sum(core.ureal(0.0, u, df) for u, df in parts)
    ours = combine([Contribution(str(u), u, 1.0, df) for u, df in parts])
    assert ours.standard_uncertainty == pytest.approx(oracle.u, rel=1e-12)
    assert ours.degrees_of_freedom == pytest.approx(oracle.df, rel=1e-9)


def test_thermometer_calibration_of_gum_h3() -> None:
    """JCGM 100:2008 H.3: y1 -0.1712(29), y2 0.00218(67), r -0.930, s 0.0035, b(30) -0.1494(41)."""
    data = rows("gum_h3_data.csv")
    reading = [float(row["t_k_degC"]) for row in data]
    correction = [float(row["b_k_degC"]) for row in data]
    found = fit_correction(reading, correction, reference_c=20.0)
    y1, y2 = found.fitted.parameters
    assert y1 == pytest.approx(-0.1712, abs=5e-5)
    assert y2 == pytest.approx(0.00218, abs=5e-6)
    assert found.fitted.u([1, 0]) == pytest.approx(0.0029, abs=5e-5)
    assert found.fitted.u([0, 1]) == pytest.approx(0.00067, abs=5e-6)
    assert found.correlation == pytest.approx(-0.930, abs=5e-4)
    assert found.fitted.residual_sd == pytest.approx(0.0035, abs=5e-5)
    assert found.at(30.0) == pytest.approx(-0.1494, abs=5e-5)
    assert found.u_k(30.0) == pytest.approx(0.0041, abs=5e-5)
    centred = fit_correction(reading, correction)
    assert centred.reference_c == pytest.approx(24.0085, abs=5e-5)
    assert centred.fitted.u([1, 0]) == pytest.approx(0.0011, abs=5e-5)
    assert centred.correlation == pytest.approx(0.0, abs=1e-9)
    assert centred.u_k(30.0) == pytest.approx(found.u_k(30.0))


def test_a_calibration_of_two_points_is_refused() -> None:
    with pytest.raises(InputError, match="2 points"):
        fit_correction([20.0, 90.0], [0.1, 0.2])
    with pytest.raises(InputError, match="span"):
        fit_correction([20.0, 20.1, 20.2], [0.1, 0.2, 0.1])


def test_between_day_scatter_of_gum_h5() -> None:
    """JCGM 100:2008 H.5: s_a 128 uV (9), s_b 85 uV (40), F 2.25 > 2.12, u 18 uV."""
    data = rows("gum_h5_data.csv")
    means = np.array([float(row["mean_V"]) for row in data]) * 1e6
    within = math.sqrt(np.mean([float(row["s_uV"]) ** 2 for row in data]))
    between = math.sqrt(5) * float(means.std(ddof=1))
    assert between == pytest.approx(128, abs=0.5)
    assert within == pytest.approx(85, abs=0.5)
    assert between**2 / within**2 == pytest.approx(2.25, abs=0.02)
    assert between**2 / within**2 > stats.f.ppf(0.95, 9, 40)
    days = combine([Contribution("days", float(means.std(ddof=1)), 1 / math.sqrt(10), 9)])
    assert days.standard_uncertainty == pytest.approx(18, abs=0.5)


def test_norris_line_of_nist() -> None:
    """NIST StRD Norris, certified values to ten digits."""
    data = rows("strd_norris_data.csv")
    x = np.array([float(row["x"]) for row in data])
    y = np.array([float(row["y"]) for row in data])
    found = fit_linear(np.column_stack([np.ones(len(x)), x]), y)
    assert found.parameters[0] == pytest.approx(-0.262323073774029, rel=1e-10)
    assert found.parameters[1] == pytest.approx(1.00211681802045, rel=1e-12)
    assert found.u([1, 0]) == pytest.approx(0.232818234301152, rel=1e-10)
    assert found.u([0, 1]) == pytest.approx(0.000429796848199937, rel=1e-10)
    assert found.residual_sd == pytest.approx(0.884796396144373, rel=1e-12)
    assert found.degrees_of_freedom == 34


@pytest.mark.parametrize(
    ("shapes", "last_u", "half_width"),
    [("normal", 1.0, 3.92), ("rectangular", 1.0, 3.88), ("rectangular", 10.0, 17.0)],
)
def test_additive_models_of_jcgm_101(shapes: str, last_u: float, half_width: float) -> None:
    """JCGM 101:2008 9.2.2 to 9.2.4: 95 % interval of a sum of four."""
    shape = "normal" if shapes == "normal" else "rectangular"
    inputs = [Drawn(0.0, u, shape) for u in (1.0, 1.0, 1.0, last_u)]
    found = propagate(lambda a, b, c, d: a + b + c + d, inputs, trials=400_000)
    assert found.symmetric[1] == pytest.approx(half_width, rel=0.01)
    assert found.symmetric[0] == pytest.approx(-half_width, rel=0.01)


@pytest.mark.parametrize(
    ("x1", "estimate", "u", "shortest"),
    [
        (0.0, 50, 50, (0, 150)),
        (0.010, 150, 112, (0, 367)),
        (0.050, 2551, 502, (1590, 3543)),
    ],
)
def test_comparison_loss_of_jcgm_101(
    x1: float, estimate: float, u: float, shortest: tuple[float, float]
) -> None:
    """JCGM 101:2008 9.4.2.2 to 9.4.2.4, one a case, in 1e-6: x1^2 + x2^2 with u 0.005.

    The intervals are from memory; estimate and u have a closed form beside the printed figures.
    """
    assert x1**2 + 2 * 0.005**2 == pytest.approx(1e-6 * estimate, rel=1e-3)
    assert 2 * 0.005 * math.hypot(x1, 0.005) == pytest.approx(1e-6 * u, rel=3e-3)
    inputs = [Drawn(x1, 0.005), Drawn(0.0, 0.005)]
    found = propagate(lambda a, b: (a**2 + b**2) * 1e6, inputs, trials=400_000)
    assert found.estimate == pytest.approx(estimate, rel=0.01)
    assert found.standard_uncertainty == pytest.approx(u, rel=0.01)
    assert found.shortest[0] == pytest.approx(shortest[0], rel=0.01, abs=1)
    assert found.shortest[1] == pytest.approx(shortest[1], rel=0.015)


def test_a_units_budget_agrees_with_monte_carlo() -> None:
    """Within 8 %: JCGM 101 draws a t for few degrees of freedom, wider than Welch-Satterthwaite."""
    bench = BenchBudget(probe_k=0.05, gradient_k=0.06, gauge_mm=0.002, gauge_relative=0.002)
    unit, bath_c = StraightUnit(), night((1.0, 0.5))
    start = analyse(record_of(bath_c, unit.lift_mm(bath_c)), bench_budget=bench).start_to_open_c
    drawn = propagate_budget(start.contributions)
    assert start.expanded_uncertainty is not None
    assert drawn.symmetric[1] == pytest.approx(start.expanded_uncertainty, rel=0.08)
