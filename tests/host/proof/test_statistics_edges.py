"""Capability of single limits, what each answer states, and where it begins to be stated."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from proofbath.proof.specification import Limit
from proofbath.proof.statistics import batch_statistics, capability, cp_share, cpk_lower_bound
from proofbath.proof.tolerance import one_sided_factor, two_sided_factor

BOTH = Limit(quantity="dimension_mm", lower=8.0, upper=20.0)
LOWER = Limit(quantity="dimension_mm", lower=8.0, largest_u=1.0)
UPPER = Limit(quantity="dimension_mm", upper=20.0, largest_u=1.0)


def units(count: int, mean: float, sd: float) -> dict[str, float]:
    """Return units of exactly this mean and s, at the normal distribution's own quantiles."""
    z = stats.norm.ppf((np.arange(count) + 0.5) / count)
    values = mean + sd * (z - z.mean()) / z.std(ddof=1)
    return {f"T82-{n:04d}": float(value) for n, value in enumerate(values)}


@pytest.mark.parametrize(
    ("limit", "cp", "cpk"), [(BOTH, 1.0, 2 / 3), (UPPER, None, 2 / 3), (LOWER, None, 4 / 3)]
)
def test_indices_of_one_limit_and_of_two(limit: Limit, cp: float | None, cpk: float) -> None:
    """e-Handbook 6.1.6 [from memory]: mean 16, s 2; (20 - 16) / 6 and (16 - 8) / 6."""
    found = capability(units(50, 16.0, 2.0), limit, common_u=0.09)
    assert (found.units, found.reason, found.common_u) == (50, None, 0.09)
    assert found.cpk == pytest.approx(cpk)
    assert found.cpk_lower == pytest.approx(cpk_lower_bound(cpk, 50))
    if cp is None:
        assert (found.cp, found.cp_lower) == (None, None)
    else:
        assert found.cp == pytest.approx(cp)
        # e-Handbook 7.2.3.1: chi-square of 5 % at 49 degrees of freedom is 33.930.
        assert found.cp_lower == pytest.approx(cp * (33.930 / 49) ** 0.5, rel=1e-4)
        assert cp_share(50) == pytest.approx((33.930 / 49) ** 0.5, rel=1e-4)


def test_the_nearer_of_two_limits_counts() -> None:
    """Mean 12 of 8 to 20, s 2: (12 - 8) / 6."""
    found = capability(units(50, 12.0, 2.0), BOTH)
    assert found.cpk == pytest.approx(2 / 3)


def test_a_tolerance_interval_is_open_where_the_limit_is() -> None:
    """ISO 16269-6:2014, n 50, 95 % with 95 %: one-sided k 2.065, two-sided 2.382 to 3 decimals."""
    values = units(50, 16.0, 2.0)
    assert one_sided_factor(50) == pytest.approx(2.065, abs=6e-4)
    assert two_sided_factor(50) == pytest.approx(2.382, abs=3e-3)
    low, high = capability(values, LOWER).tolerance_interval or (None, None)
    assert (low, high) == (pytest.approx(16.0 - 2 * 2.065, abs=2e-3), None)
    low, high = capability(values, UPPER).tolerance_interval or (None, None)
    assert (low, high) == (None, pytest.approx(16.0 + 2 * 2.065, abs=2e-3))
    reach = 2 * two_sided_factor(50)
    assert capability(values, BOTH).tolerance_interval == pytest.approx((16 - reach, 16 + reach))


def test_what_refuses_a_capability_is_stated_with_it() -> None:
    same = capability(dict.fromkeys(units(30, 1.0, 1.0), 16.0), BOTH)
    assert (same.units, same.normal_p, same.cp) == (30, None, None)
    heaps = {**units(20, 12.0, 0.1), **{f"W{k}": v for k, v in units(20, 16.0, 0.1).items()}}
    found = capability(heaps, BOTH, common_u=0.09)
    p = float(stats.shapiro(list(heaps.values())).pvalue)
    assert p < 0.01
    assert (found.units, found.normal_p, found.common_u, found.cp) == (40, p, 0.09, None)


@pytest.mark.parametrize(("power", "refused"), [(1.819, False), (1.828, True)])
def test_one_in_a_hundred_is_the_boundary_of_normal(power: float, refused: bool) -> None:
    """Quantiles stretched by a power until Shapiro-Wilk's p lies just on either side of 0.01."""
    z = stats.norm.ppf((np.arange(40) + 0.5) / 40)
    values = 14.0 + np.sign(z) * np.abs(z) ** power / 4
    p = float(stats.shapiro(values).pvalue)
    assert 0.009 < p < 0.011
    found = capability({str(n): float(v) for n, v in enumerate(values)}, BOTH)
    assert (found.reason is not None) is refused
    assert found.normal_p == p


def test_two_units_have_a_scatter() -> None:
    """By hand: 81 and 83 are 1.4142 apart from their mean in s."""
    assert batch_statistics([81.0, 83.0]).sd == pytest.approx(2**0.5)
    assert batch_statistics([81.0, 83.0]).span == 2.0
