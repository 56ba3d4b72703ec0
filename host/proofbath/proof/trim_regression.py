"""Least squares that nonsense does not bend: one observation in twenty may be of no worth.

Everything is done for several noises at once (the first axis): which noise is true is decided by
the evidence. An observation is believed by how far it fits, first against those before it, then
against all.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np

Floats = np.ndarray

NONSENSE, NONSENSE_WIDER = 0.05, 20.0
"""Share of observations that are nonsense, and how much wider those scatter (from memory)."""
_ROUNDS = 3


class Observed(NamedTuple):
    """Values with their covariance for every noise, and what parameters foretell of them."""

    foretell: Callable[[Floats], Floats]
    """From parameters (noises by parameters) to values (noises by values)."""
    values: Floats
    covariance: Floats

    def linear(self, theta: Floats) -> tuple[Floats, Floats]:
        """Return what is foretold and how it changes with each parameter."""
        mean = self.foretell(theta)
        columns = []
        for i in range(theta.shape[1]):
            moved = theta.copy()
            moved[:, i] += 1e-5
            columns.append((self.foretell(moved) - mean) / 1e-5)
        return mean, np.stack(columns, axis=-1)


class Posterior(NamedTuple):
    """Parameters with their covariance for every noise, and the log-evidence of each noise."""

    theta: Floats
    covariance: Floats
    evidence: Floats


def regression(observed: Sequence[Observed], mean: Floats, sd: Floats, noises: int) -> Posterior:
    """Return what observations tell of parameters that were known to be `mean` within `sd`.

    What comes first may be nonsense too, so it is begun from either end.
    """
    if not observed:
        covariance = np.tile(np.diag(sd**2), (noises, 1, 1))
        return Posterior(np.tile(mean, (noises, 1)), covariance, np.zeros(noises))
    tried = [_from(order, mean, sd, noises) for order in (observed, observed[::-1])]
    best = np.argmax([found.evidence for found in tried], axis=0)
    rows = np.arange(noises)
    return Posterior(*(np.stack(part)[best, rows] for part in zip(*tried, strict=True)))


def _from(observed: Sequence[Observed], mean: Floats, sd: Floats, noises: int) -> Posterior:
    theta = np.tile(mean, (noises, 1))
    covariance = np.tile(np.diag(sd**2), (noises, 1, 1))
    beliefs = []
    for item in observed:
        theta, covariance, belief = _filtered(item, theta, covariance)
        beliefs.append(belief)
    evidence = np.zeros(noises)
    for _ in range(_ROUNDS):
        theta, covariance = _together(observed, theta, beliefs, mean, sd)
        evidence = 0.5 * np.linalg.slogdet(covariance)[1] - np.log(sd).sum()
        evidence = evidence - 0.5 * (((theta - mean) / sd) ** 2).sum(axis=1)
        beliefs = []
        for item in observed:
            belief, log = _belief(item.values - item.foretell(theta), item.covariance)
            beliefs.append(belief)
            evidence = evidence + log
    return Posterior(theta, covariance, evidence)


def _filtered(item: Observed, theta: Floats, covariance: Floats) -> tuple[Floats, Floats, Floats]:
    """Return parameters and covariance after one more observation, and how far it is believed."""
    foretold, jacobian = item.linear(theta)
    turned = np.swapaxes(jacobian, 1, 2)
    known = jacobian @ covariance @ turned
    off = item.values - foretold
    belief, _ = _belief(off, known + item.covariance)
    gain = covariance @ turned @ np.linalg.inv(known + item.covariance / belief[:, None, None])
    theta = theta + np.einsum("sij,sj->si", gain, off)
    covariance = covariance - gain @ jacobian @ covariance
    return theta, (covariance + np.swapaxes(covariance, 1, 2)) / 2, belief


def _together(
    observed: Sequence[Observed],
    theta: Floats,
    beliefs: Sequence[Floats],
    mean: Floats,
    sd: Floats,
) -> tuple[Floats, Floats]:
    """Return parameters and covariance from all observations at once, each as far as believed."""
    precision = np.tile(np.diag(1 / sd**2), (len(theta), 1, 1))
    pulled = np.tile(mean / sd**2, (len(theta), 1))
    for item, belief in zip(observed, beliefs, strict=True):
        foretold, jacobian = item.linear(theta)
        inverse = np.linalg.inv(item.covariance) * belief[:, None, None]
        turned = np.swapaxes(jacobian, 1, 2)
        precision += turned @ inverse @ jacobian
        value = item.values - foretold + np.einsum("sij,sj->si", jacobian, theta)
        pulled += np.einsum("sij,sj->si", turned @ inverse, value)
    covariance = np.linalg.inv(precision)
    return np.einsum("sij,sj->si", covariance, pulled), covariance


def _belief(off: Floats, covariance: Floats) -> tuple[Floats, Floats]:
    """Return how far an observation is believed, and its log-likelihood, nonsense mixed in."""
    base, distance = _normal(off, covariance)
    # nonsense does not know how well a hand closes: it is as wide whatever the noise
    wide = np.broadcast_to(covariance.mean(axis=0) * NONSENSE_WIDER**2, covariance.shape)
    wide_base, wide_distance = _normal(off, wide)
    good = math.log(1 - NONSENSE) + base - 0.5 * distance
    nonsense = math.log(NONSENSE) + wide_base - 0.5 * wide_distance
    both = np.logaddexp(good, nonsense)
    share = np.exp(good - both)
    return np.maximum(share + (1 - share) / NONSENSE_WIDER**2, 1e-6), both


def _normal(off: Floats, covariance: Floats) -> tuple[Floats, Floats]:
    """Return the logarithm of a normal density at its middle, and the squared distance from it."""
    distance = np.einsum("si,sij,sj->s", off, np.linalg.inv(covariance), off)
    return -0.5 * np.linalg.slogdet(covariance)[1], distance
