"""Tolerance factors: how many s around the mean hold a share of the units with confidence."""

from __future__ import annotations

import math


def two_sided_factor(count: int, coverage: float = 0.95, confidence: float = 0.95) -> float:
    """Return the exact two-sided factor k of a normal sample (ISO 16269-6:2014, annex F, m = 1).

    Solves the integral over the mean's error of P(chi-square > ν r²/k²), where r holds the
    coverage around a mean that is off by z / sqrt(n).
    """
    import numpy as np
    from scipy import optimize, stats

    nodes, weights = np.polynomial.legendre.leggauss(120)
    off = 4.5 + 4.5 * nodes  # 0 to 9 standard errors of the mean
    mass = 9.0 * weights * stats.norm.pdf(off)
    radius = np.array([_radius(float(z) / math.sqrt(count), coverage) for z in off])
    freedom = count - 1

    def short(k: float) -> float:
        holds = stats.chi2.sf(freedom * (radius / k) ** 2, freedom)
        return float(np.sum(mass * holds)) - confidence

    return float(optimize.brentq(short, 0.1, 1e6, xtol=1e-10, rtol=1e-12))


def _radius(off: float, coverage: float) -> float:
    """Return the half width around `off` that holds the coverage of a standard normal."""
    from scipy import optimize
    from scipy.special import ndtr

    def short(r: float) -> float:
        return float(ndtr(off + r) - ndtr(off - r)) - coverage

    return float(optimize.brentq(short, 0.0, off + 10.0, xtol=1e-13))


def one_sided_factor(count: int, coverage: float = 0.95, confidence: float = 0.95) -> float:
    """Return the exact one-sided factor k of a normal sample (noncentral t)."""
    from scipy import stats

    root = math.sqrt(count)
    return float(stats.nct.ppf(confidence, count - 1, stats.norm.ppf(coverage) * root)) / root
