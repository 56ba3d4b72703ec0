"""What a control chart can see: chance per night and mean nights until a lasting shift signals."""

from __future__ import annotations

import math
from statistics import NormalDist
from typing import NamedTuple

CELLS = 201
"""Cells of the Markov chain; odd, so that one is centred on 0."""


def seen_at_once(shift_in_s: float, limit_in_s: float = 3.0) -> float:
    """Return the chance that one value shifted by so many s lies beyond the limits."""
    normal = NormalDist()
    return normal.cdf(-limit_in_s - shift_in_s) + normal.cdf(-limit_in_s + shift_in_s)


def average_run_length(
    shift_in_s: float, weight: float, width: float, limit_in_s: float = math.inf
) -> float:
    """Return the mean number of points until a lasting shift signals.

    EWMA of `weight` with limits `width` of its own standard deviations, together with limits of
    `limit_in_s` on single points; Markov chain of Brook and Evans, started at the centre.
    """
    import numpy as np
    from scipy.special import ndtr

    edge = width * math.sqrt(weight / (2.0 - weight))
    edges = np.linspace(-edge, edge, CELLS + 1)
    kept = (1.0 - weight) * (edges[:-1] + edges[1:])[:, None] / 2.0
    single = np.clip((edges[None, :] - kept) / weight, -limit_in_s, limit_in_s)
    stays = np.diff(ndtr(single - shift_in_s), axis=1)
    lengths = np.linalg.solve(np.eye(CELLS) - stays, np.ones(CELLS))
    return float(lengths[CELLS // 2])


class Power(NamedTuple):
    """What a chart sees of a lasting shift of `shift_k`, and how often it cries wolf."""

    shift_k: float
    per_night: float
    mean_nights: float
    mean_nights_to_false_alarm: float

    def in_words(self) -> str:
        """Return the sentence that stands beside the chart."""
        return (
            f"a lasting shift of {self.shift_k:g} K is beyond the limits in"
            f" {100 * self.per_night:.0f} % of nights and is seen after"
            f" {self.mean_nights:.1f} nights on average; a false alarm comes once in"
            f" {self.mean_nights_to_false_alarm:.0f} nights"
        )


def power(
    shift_k: float, sd_k: float, weight: float, width: float, limit_in_s: float = 3.0
) -> Power:
    """Return the power of single limits and EWMA together against a lasting shift."""
    return Power(
        shift_k,
        seen_at_once(shift_k / sd_k, limit_in_s),
        average_run_length(shift_k / sd_k, weight, width, limit_in_s),
        average_run_length(0.0, weight, width, limit_in_s),
    )


def power_of_single_values(shift_k: float, sd_k: float, limit_in_s: float) -> Power:
    """Return the power of limits on single values alone."""
    seen = seen_at_once(shift_k / sd_k, limit_in_s)
    return Power(shift_k, seen, 1.0 / seen, 1.0 / seen_at_once(0.0, limit_in_s))
