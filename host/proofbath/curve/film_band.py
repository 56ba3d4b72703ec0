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
    half_width,
)
from proofbath.curve.record import Floats

COVERAGE = 2.0
"""An expanded uncertainty is so many standard uncertainties, about."""
PASSES = 6
BETWEEN_LAWS_K = 1e-6


class OpeningAt(NamedTuple):
    """An opening at zero rate: power in W, current in A, bath in °C and its U in K."""

    power_w: float
    element_a: float
    bath_c: float
    u_k: float


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
    """Return where openings lie at these powers; raises ValueError for fewer than two powers.

    Every law of the film is fitted with its priors and weighed by what it explains; the band holds
    the mixture of their answers and what a single opening is uncertain by.
    """
    seen_w, seen_c, u_k = (np.array([getattr(o, n) for o in openings]) for n in _FIELDS)
    if len(openings) < 2 or float(np.ptp(seen_w)) <= 0.0:
        raise ValueError("a line over power needs openings at two powers")
    fits = [_fit(law, seen_w, seen_c, u_k / COVERAGE) for law in LAWS]
    chances = np.array([f.log_evidence for f in fits]) + np.log([law.weight for law in LAWS])
    weights = np.exp(chances - chances.max())
    weights /= weights.sum()
    told = [_told(law, fit, power_w) for law, fit in zip(LAWS, fits, strict=True)]
    means, sds = np.array([mean for mean, _ in told]), np.array([sd for _, sd in told])
    bath_c: Floats = weights @ means
    own_k = math.sqrt(float(np.mean(u_k**2)))
    half_k = [
        math.hypot(half_width(means[:, n] - bath_c[n], sds[:, n] + BETWEEN_LAWS_K, weights), own_k)
        for n in range(len(power_w))
    ]
    return Band(power_w, bath_c, np.array(half_k))


_FIELDS = ("power_w", "bath_c", "u_k")


def _fit(law: FilmLaw, seen_w: Floats, seen_c: Floats, sds: Floats) -> _Fit:
    """Return one law's start, wax, film and curvature by Gauss-Newton, as for the start alone."""
    x = np.array([float(seen_c.max()) + 5.0, WAX_K_PER_W, FILM_K_PER_W, 0.0])
    for _ in range(PASSES):
        squared = float(x[1] + x[2]) ** 2
        prior = np.array([WAX_K_PER_W, FILM_K_PER_W, CURVATURE_PER_K * squared])
        prior_u = np.array([WAX_U_K_PER_W, FILM_U_K_PER_W, CURVATURE_U_PER_K * squared])
        rows, shown = _rows(law, x, seen_w)
        all_sds = np.concatenate([sds, prior_u])
        scaled = np.vstack([rows, np.eye(4)[1:]]) / all_sds[:, None]
        rest = np.concatenate([seen_c - shown, prior - x[1:]]) / all_sds
        covariance = np.linalg.inv(scaled.T @ scaled)
        step = covariance @ scaled.T @ rest
        x = x + step
        x[1], x[2] = max(float(x[1]), 0.1), min(max(float(x[2]), 0.15), 1.6)
    left = rest - scaled @ step
    evidence = 0.5 * float(np.linalg.slogdet(covariance)[1]) - float(np.log(prior_u).sum())
    return _Fit(x, covariance, evidence - 0.5 * float(left @ left))


def _rows(law: FilmLaw, x: Floats, power_w: Floats) -> tuple[Floats, Floats]:
    excess_k, by_film = law.excess_k(float(x[2]), power_w)
    rows = np.column_stack([np.ones(len(power_w)), -power_w, -by_film, -(power_w**2)])
    return rows, x[0] - x[1] * power_w - excess_k - x[3] * power_w**2


def _told(law: FilmLaw, fit: _Fit, power_w: Floats) -> tuple[Floats, Floats]:
    rows, shown = _rows(law, fit.solution, power_w)
    return shown, np.sqrt(np.einsum("ij,jk,ik->i", rows, fit.covariance, rows))
