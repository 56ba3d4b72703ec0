"""The offset between start-to-open on the bench and where an engine regulates, learnt per type.

Flow, pressure and load move the opening in an engine, and its sensor sits elsewhere: only logs
tell by how much. A marked prior stands in until a type has logs of its own.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

PRIOR_MEAN_K, PRIOR_MEAN_SD_K = 3.0, 3.0
"""Regulated minus start-to-open of a type: from memory, no source; a valve carries its load part
open, some kelvins above its start."""
PRIOR_BETWEEN_K, PRIOR_BETWEEN_LOG_SD = 1.5, 0.5
"""Sd between engines of one type and its doubt (log): from memory, no source."""
BETWEEN_K = np.geomspace(0.2, 8.0, 161)


class Seen(NamedTuple):
    """One unit's regulated temperature minus its start-to-open on the bench, in K."""

    offset_k: float
    u_k: float


class Offset(NamedTuple):
    """A type's usual offset: mean with its standard uncertainty, and sd between engines, in K."""

    units: int
    mean_k: float
    u_mean_k: float
    between_k: float

    @property
    def u_next_k(self) -> float:
        """Standard uncertainty of the next engine's offset."""
        return math.hypot(self.u_mean_k, self.between_k)


class Target(NamedTuple):
    """The start-to-open to set on the bench for a wanted running temperature, with U (k = 2)."""

    bench_c: float
    expanded_u_k: float


def usual_offset(seen: Sequence[Seen]) -> Offset:
    """Return a type's offset: normal between engines, both mean and sd unknown, priors marked.

    The sd between engines is integrated over on a grid; given it, the mean is normal.
    """
    offsets = np.array([item.offset_k for item in seen])
    squares = np.array([item.u_k**2 for item in seen])
    prior_precision = 1 / PRIOR_MEAN_SD_K**2
    variances = BETWEEN_K[:, None] ** 2 + squares  # one row for each sd between engines
    precisions = prior_precision + (1 / variances).sum(axis=1)
    weighted = PRIOR_MEAN_K * prior_precision + (offsets / variances).sum(axis=1)
    means = weighted / precisions
    evidence = -0.5 * (
        (offsets**2 / variances + np.log(variances)).sum(axis=1)
        + np.log(precisions)
        - weighted * means
    )
    evidence -= 0.5 * (np.log(BETWEEN_K / PRIOR_BETWEEN_K) / PRIOR_BETWEEN_LOG_SD) ** 2
    weights = np.exp(evidence - evidence.max())
    weights /= weights.sum()
    mean = float(weights @ means)
    variance = float(weights @ (1 / precisions + (means - mean) ** 2))
    return Offset(len(seen), mean, math.sqrt(variance), math.sqrt(float(weights @ BETWEEN_K**2)))


def bench_target(wanted_c: float, offset: Offset, u_bench_k: float = 0.0) -> Target:
    """Return what to set on the bench for a wanted running temperature."""
    u = math.hypot(offset.u_next_k, u_bench_k)
    return Target(wanted_c - offset.mean_k, 2 * u)
