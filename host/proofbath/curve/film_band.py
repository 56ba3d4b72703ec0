"""Where a unit opens at any power: the laws of the film fitted to its openings, with their band."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from proofbath.curve.film import (
    CURVATURE_PER_K,
    CURVATURE_U_PER_K,
    FILM_K_PER_W,
    FILM_U_K_PER_W,
    LAWS,
    WAX_K_PER_W,
    WAX_U_K_PER_W,
    FilmLaw,
    central,
)
from proofbath.curve.lag import PRIOR_LAG_S, PRIOR_LAG_SD_S
from proofbath.curve.record import Floats

COVERAGE = 2.0
"""An expanded uncertainty is so many standard uncertainties, about."""
PASSES = 6
BETWEEN_LAWS_K = 1e-6


class OpeningAt(NamedTuple):
    """An opening: power in W, current in A, bath in °C and its U in K.

    Where it was read while the power rose it hangs behind, by its rate in W/s times the lag.
    """

    power_w: float
    element_a: float
    bath_c: float
    u_k: float
    rate_w_per_s: float = 0.0


class Band(NamedTuple):
    """At each power the opening expected, and half the width that holds 95 of 100 measured."""

    power_w: Floats
    bath_c: Floats
    half_k: Floats


class _Fit(NamedTuple):
    solution: Floats
    covariance: Floats
    log_evidence: float


def band_of(openings: Sequence[OpeningAt], power_w: Floats) -> Band:
    """Return where openings lie at these powers; raises ValueError for one power only.

    Every law of the film is fitted with its priors and weighed by what it explains; the band holds
    the mixture of their answers and what a single opening is uncertain by.
    """
    powers, _, baths, us, rates = (np.array(column) for column in zip(*openings, strict=True))
    if float(np.ptp(powers)) <= 0.0:
        raise ValueError("a line over power needs openings at two powers")
    seen = _Seen(powers, rates, baths, us / COVERAGE)
    fits = [_fit(law, seen) for law in LAWS]
    chances = np.array([f.log_evidence for f in fits]) + np.log([law.weight for law in LAWS])
    weights = np.exp(chances - chances.max())
    weights /= weights.sum()
    told = [_told(law, fit, power_w) for law, fit in zip(LAWS, fits, strict=True)]
    means, sds = np.array([mean for mean, _ in told]), np.array([sd for _, sd in told])
    own_k = math.sqrt(float(np.mean(us**2)))
    held = [central(means[:, n], sds[:, n] + BETWEEN_LAWS_K, weights) for n in range(len(power_w))]
    bath_c, half_k = np.array(held).T
    return Band(power_w, bath_c, np.hypot(half_k, own_k))


class _Seen(NamedTuple):
    power_w: Floats
    rate_w_per_s: Floats
    bath_c: Floats
    sd_k: Floats


def _fit(law: FilmLaw, seen: _Seen) -> _Fit:
    """Return one law's start, wax, film, curvature and lag by Gauss-Newton."""
    x = np.array([float(seen.bath_c.max()) + 5.0, WAX_K_PER_W, FILM_K_PER_W, 0.0, 0.0])
    for _ in range(PASSES):
        k_per_w = float(x[1] + x[2])
        bend, lag = CURVATURE_PER_K * k_per_w**2, PRIOR_LAG_S * k_per_w
        bend_u, lag_u = CURVATURE_U_PER_K * k_per_w**2, PRIOR_LAG_SD_S * k_per_w
        prior = np.array([WAX_K_PER_W, FILM_K_PER_W, bend, lag])
        prior_u = np.array([WAX_U_K_PER_W, FILM_U_K_PER_W, bend_u, lag_u])
        rows, shown = _rows(law, x, seen.power_w, seen.rate_w_per_s)
        all_sds = np.concatenate([seen.sd_k, prior_u])
        scaled = np.vstack([rows, np.eye(5)[1:]]) / all_sds[:, None]
        rest = np.concatenate([seen.bath_c - shown, prior - x[1:]]) / all_sds
        covariance = np.linalg.inv(scaled.T @ scaled)
        step = covariance @ scaled.T @ rest
        x = x + step
        x[1], x[2] = max(float(x[1]), 0.1), min(max(float(x[2]), 0.15), 1.6)
    left = rest - scaled @ step
    evidence = 0.5 * float(np.linalg.slogdet(covariance)[1]) - float(np.log(prior_u).sum())
    return _Fit(x, covariance, evidence - 0.5 * float(left @ left))


def _rows(law: FilmLaw, x: Floats, power_w: Floats, rate_w_per_s: Floats) -> tuple[Floats, Floats]:
    excess_k, by_film = law.excess_k(float(x[2]), power_w)
    rows = [np.ones(len(power_w)), -power_w, -by_film, -(power_w**2), rate_w_per_s]
    shown = x[0] - x[1] * power_w - excess_k - x[3] * power_w**2 + x[4] * rate_w_per_s
    return np.column_stack(rows), shown


def _told(law: FilmLaw, fit: _Fit, power_w: Floats) -> tuple[Floats, Floats]:
    rows, shown = _rows(law, fit.solution, power_w, np.zeros(len(power_w)))
    return shown, np.sqrt(np.einsum("ij,jk,ik->i", rows, fit.covariance, rows))
