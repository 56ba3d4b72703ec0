"""Batch statistics, capability and tolerance factors against tables and definitions."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import integrate, stats

from host.proof.reference import figures, rows
from proofbath.proof.specification import Limit
from proofbath.proof.statistics import (
    batch_statistics,
    capability,
    cp_share,
    cpk_lower_bound,
)
from proofbath.proof.tolerance import one_sided_factor, two_sided_factor

LIMIT = Limit(quantity="start_to_open_c", nominal=82.0, tolerance=2.0, threshold_mm=0.1)


def scaled(count: int, mean: float, sd: float) -> list[float]:
    """Return normal-looking values with exactly this mean and sd."""
    z = stats.norm.ppf((np.arange(count) + 0.5) / count)
    return list(mean + sd * (z - z.mean()) / z.std(ddof=1))


def by_serial(values: list[float]) -> dict[str, float]:
    return {f"T82-{n:04d}": value for n, value in enumerate(values)}


MHE_FACTORS = [row for row in rows("mhe_tolerance_factors") if row["n"] != "inf"]
FACTORS = [row for row in rows("iso16269_6_two_sided_factors") if row["n"] != "inf"]


@pytest.mark.parametrize("row", FACTORS[::2])
def test_two_sided_tolerance_factors(row: dict[str, str]) -> None:
    """ISO 16269-6:2014 annex F, m = 1: printed rounded up in the fourth decimal."""
    k = two_sided_factor(int(row["n"]), float(row["coverage_p"]), float(row["confidence"]))
    assert -1e-6 <= float(row["k_published"]) - k <= 1.01e-4


@pytest.mark.parametrize("row", MHE_FACTORS[4::9])
def test_two_sided_factors_of_another_table(row: dict[str, str]) -> None:
    """Meeker, Hahn, Escobar, Statistical Intervals, 2nd ed., tables J.5a and J.5b, 3 decimals."""
    k = two_sided_factor(int(row["n"]), float(row["coverage"]), float(row["confidence"]))
    assert k == pytest.approx(float(row["g"]), abs=5.1e-4)


@pytest.mark.parametrize(
    ("count", "share", "confidence", "remembered"),
    [
        *((5, 0.95, 0.95, 4.203), (10, 0.95, 0.95, 2.911), (20, 0.95, 0.95, 2.396)),
        *((30, 0.95, 0.95, 2.220), (10, 0.90, 0.95, 2.355), (10, 0.99, 0.95, 3.981)),
    ],
)
def test_one_sided_tolerance_factors(
    count: int, share: float, confidence: float, remembered: float
) -> None:
    """ISO 16269-6:2014 annex D prints them; these, to three decimals, are from memory."""
    k = one_sided_factor(count, share, confidence)
    assert k == pytest.approx(remembered, abs=6e-4)


@pytest.mark.parametrize("count", [5, 12, 30, 100])
@pytest.mark.parametrize(("share", "confidence"), [(0.90, 0.90), (0.95, 0.95), (0.99, 0.99)])
def test_a_one_sided_factor_holds_its_share_as_often_as_it_says(
    count: int, share: float, confidence: float
) -> None:
    """The definition, integrated over the chi of s: mean + k s lies above the share's quantile."""
    k, quantile = one_sided_factor(count, share, confidence), stats.norm.ppf(share)
    chi = stats.chi(count - 1, scale=1 / math.sqrt(count - 1))

    def chance(s: float) -> float:
        return float(stats.norm.cdf(math.sqrt(count) * (k * s - quantile)) * chi.pdf(s))

    held, _ = integrate.quad(chance, *chi.ppf([1e-13, 1 - 1e-13]))
    assert held == pytest.approx(confidence, abs=1e-7)


def test_factors_of_the_handbooks_example() -> None:
    """e-Handbook 7.2.6.3, n 43, 90 % with 99 %: both printed factors are approximations."""
    published = figures("ehandbook_7263_tolerance")
    assert two_sided_factor(43, 0.90, 0.99) == pytest.approx(float(published["k2_Howe"]), rel=0.003)
    assert one_sided_factor(43, 0.90, 0.99) == pytest.approx(
        float(published["k1_Natrella"]), rel=0.001
    )


def test_a_batch_is_said_in_mean_s_and_range() -> None:
    batch = batch_statistics([81.0, 82.0, 84.0], common_u=0.09)
    assert (batch.units, batch.mean, batch.span) == (3, pytest.approx(82.3333, abs=1e-4), 3.0)
    assert batch.sd == pytest.approx(1.5275, abs=1e-4)
    assert batch.common_u == 0.09
    assert batch_statistics([82.0]).sd is None


def test_capability_indices_of_the_handbook() -> None:
    """e-Handbook 6.1.6 [from memory]: limits 8 and 20, mean 16, s 2: Cp 1.0, Cpk 0.6667."""
    expected = figures("ehandbook_616_capability", value="from_memory")
    limit = Limit(quantity="dimension_mm", lower=8.0, upper=20.0)
    found = capability(by_serial(scaled(50, 16.0, 2.0)), limit)
    assert found.cp == pytest.approx(float(expected["Cp"]))
    assert found.cpk == pytest.approx(float(expected["Cpk"]), abs=1e-4)


@pytest.mark.parametrize("row", rows("capability_lower_bounds"))
def test_capability_bounds(row: dict[str, str]) -> None:
    """Cp by chi-square, Cpk by Bissell's approximation, worked out apart by the formulas."""
    index, count = float(row["Cp_or_Cpk_hat"]), int(row["n"])
    assert index * cp_share(count) == pytest.approx(float(row["Cp_lower95_chi2"]), abs=1e-5)
    assert cpk_lower_bound(index, count) == pytest.approx(
        float(row["Cpk_lower95_Bissell_normal_approx"]), abs=1e-5
    )


def test_fewer_than_thirty_units_carry_no_capability() -> None:
    few = capability(by_serial(scaled(29, 82.0, 0.5)), LIMIT, common_u=0.09)
    assert few.reason == "29 as-left units of the type; 30 are needed"
    assert (few.cp, few.cpk, few.tolerance_interval) == (None, None, None)
    assert few.common_u == 0.09
    assert capability(by_serial(scaled(30, 82.0, 0.5)), LIMIT).reason is None


def test_units_that_are_not_normal_carry_none_either() -> None:
    two_heaps = scaled(20, 81.0, 0.1) + scaled(20, 83.0, 0.1)
    assert "not normally distributed" in str(capability(by_serial(two_heaps), LIMIT).reason)
    assert "resolution" in str(capability(by_serial([82.0] * 30), LIMIT).reason)


def test_the_tolerance_interval_has_the_limits_sides() -> None:
    values = by_serial(scaled(40, 82.0, 0.5))
    both = capability(values, LIMIT).tolerance_interval
    reach = 0.5 * two_sided_factor(40)
    assert both == (pytest.approx(82.0 - reach), pytest.approx(82.0 + reach))
    upper = Limit(quantity="hysteresis_k", upper=84.0, largest_u=1.0, threshold_mm=4.0)
    single = capability(values, upper)
    assert single.tolerance_interval == (None, pytest.approx(82.0 + 0.5 * one_sided_factor(40)))
    assert single.cp is None


def test_tolerance_intervals_hold_their_share_of_units() -> None:
    """Simulated: 95 % of intervals of 30 units hold at least 95 % of the population."""
    from scipy.special import ndtr

    rng, k = np.random.default_rng(3), two_sided_factor(30)
    samples = rng.standard_normal((4000, 30))
    mean, sd = samples.mean(axis=1), samples.std(axis=1, ddof=1)
    held = ndtr(mean + k * sd) - ndtr(mean - k * sd) >= 0.95
    assert held.mean() == pytest.approx(0.95, abs=0.0138)  # 4 sd of the binomial
