"""Statistics of a batch, and of a type where enough units carry them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from statistics import fmean, stdev
from typing import NamedTuple

from proofbath.proof.specification import Limit
from proofbath.proof.tolerance import one_sided_factor, two_sided_factor

ENOUGH_UNITS = 30
CONFIDENCE = 0.95
COVERAGE = 0.95
NOT_NORMAL_P = 0.01


class BatchStatistics(NamedTuple):
    """Mean, s and range of a batch; `sd` is None for one unit.

    `common_u` is the bench's standard uncertainty that all units share: it moves the mean of the
    batch, not its s, and is stated apart.
    """

    units: int
    mean: float
    sd: float | None
    smallest: float
    largest: float
    common_u: float | None

    @property
    def span(self) -> float:
        """Largest minus smallest value."""
        return self.largest - self.smallest


def batch_statistics(values: Sequence[float], common_u: float | None = None) -> BatchStatistics:
    """Return mean, s and range of a batch of at least one unit."""
    sd = stdev(values) if len(values) > 1 else None
    return BatchStatistics(len(values), fmean(values), sd, min(values), max(values), common_u)


class Capability(NamedTuple):
    """What a type's as-left history says about units to come; None with the reason otherwise.

    `cp` is None for a single limit. The lower bounds hold with 95 % confidence, the tolerance
    interval holds 95 % of units with 95 % confidence; both take units as normally distributed.
    """

    units: int
    reason: str | None
    cp: float | None = None
    cp_lower: float | None = None
    cpk: float | None = None
    cpk_lower: float | None = None
    tolerance_interval: tuple[float | None, float | None] | None = None
    normal_p: float | None = None
    common_u: float | None = None


def capability(
    as_left: Mapping[str, float], limit: Limit, common_u: float | None = None
) -> Capability:
    """Return capability and tolerance interval of a type from its as-left units by serial."""
    values = list(as_left.values())
    count = len(values)
    if count < ENOUGH_UNITS:
        reason = f"{count} as-left units of the type; {ENOUGH_UNITS} are needed"
        return Capability(count, reason, common_u=common_u)
    mean, sd = fmean(values), stdev(values)
    if sd == 0.0:
        return Capability(count, "all units read the same: resolution too coarse")
    from scipy import stats

    normal_p = float(stats.shapiro(values).pvalue)
    if normal_p < NOT_NORMAL_P:
        reason = f"the units are not normally distributed (Shapiro-Wilk p {normal_p:.2g})"
        return Capability(count, reason, normal_p=normal_p, common_u=common_u)
    cp, cpk = _indices(mean, sd, limit)
    return Capability(
        count,
        None,
        cp,
        None if cp is None else cp * cp_share(count),
        cpk,
        cpk_lower_bound(cpk, count),
        _tolerance_interval(mean, sd, count, limit),
        normal_p,
        common_u,
    )


def _indices(mean: float, sd: float, limit: Limit) -> tuple[float | None, float]:
    low, high = limit.bounds
    sides = [(mean - low) / (3 * sd)] if low is not None else []
    sides += [(high - mean) / (3 * sd)] if high is not None else []
    cp = (high - low) / (6 * sd) if low is not None and high is not None else None
    return cp, min(sides)


def cp_share(count: int, confidence: float = CONFIDENCE) -> float:
    """Return the lower confidence bound of Cp as a share of its estimate (chi-square)."""
    from scipy import stats

    return math.sqrt(float(stats.chi2.ppf(1 - confidence, count - 1)) / (count - 1))


def cpk_lower_bound(cpk: float, count: int, confidence: float = CONFIDENCE) -> float:
    """Return the lower confidence bound of Cpk (Bissell's normal approximation)."""
    from statistics import NormalDist

    spread = math.sqrt(1 / (9 * count) + cpk**2 / (2 * (count - 1)))
    return cpk - NormalDist().inv_cdf(confidence) * spread


def _tolerance_interval(
    mean: float, sd: float, count: int, limit: Limit
) -> tuple[float | None, float | None]:
    low, high = limit.bounds
    if low is not None and high is not None:
        reach = two_sided_factor(count, COVERAGE, CONFIDENCE) * sd
        return mean - reach, mean + reach
    reach = one_sided_factor(count, COVERAGE, CONFIDENCE) * sd
    return (mean - reach, None) if low is not None else (None, mean + reach)
