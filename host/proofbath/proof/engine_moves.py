"""How an engine's coolant moves about its level: regular swings, and calm and lively stretches.

All limits here are common practice, no source, unless they are arithmetic.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from scipy import signal

Floats = np.ndarray

FASTEST_PERIOD_S, SLOWEST_PERIOD_S, FEWEST_PERIODS = 10.0, 600.0, 6
LEAST_AMPLITUDE_K, LEAST_SHARE = 0.3, 0.5
WINDOW_S = 60.0
APART, TIMES_AS_LIVELY, LEAST_PART = 4.0, 3.0, 0.15
FEWEST_STRETCHES = 10


class Oscillation(NamedTuple):
    """A regular swing of the coolant: period, and half of peak to peak."""

    period_s: float
    amplitude_k: float


def oscillation_of(values: Floats, step_s: float) -> Oscillation | None:
    """Return a swing that holds half of what moves faster than the slowest period, if there is.

    Period and amplitude are those of the sine fitted by least squares.
    """
    slowest_s = min(SLOWEST_PERIOD_S, len(values) * step_s / FEWEST_PERIODS)
    wide = 2 * round(slowest_s / step_s / 2) + 1
    if slowest_s < 2 * FASTEST_PERIOD_S or wide >= len(values):
        return None
    even = filled(values)
    rest = even - signal.savgol_filter(even, wide, 2, mode="interp")
    frequency, power = signal.periodogram(rest, 1 / step_s, window="hann")
    allowed = (frequency >= 1 / slowest_s) & (frequency <= 1 / max(FASTEST_PERIOD_S, 4 * step_s))
    if not allowed.any() or power.sum() == 0.0:
        return None
    best = int(np.flatnonzero(allowed)[np.argmax(power[allowed])])
    share = power[max(0, best - 2) : best + 3].sum() / power.sum()
    period_s, amplitude_k = _sine(rest, step_s, float(frequency[best]), float(frequency[1]))
    if share < LEAST_SHARE or amplitude_k < LEAST_AMPLITUDE_K:
        return None
    return Oscillation(period_s, amplitude_k)


def _sine(rest: Floats, step_s: float, near_hz: float, bin_hz: float) -> tuple[float, float]:
    """Return period and amplitude of the best sine within one bin of a frequency."""
    t_s = np.arange(len(rest)) * step_s
    best = (math.inf, 0.0, 0.0)
    for hz in near_hz + bin_hz * np.linspace(-1, 1, 41):
        design = np.column_stack([np.sin(2 * np.pi * hz * t_s), np.cos(2 * np.pi * hz * t_s)])
        found, *_ = np.linalg.lstsq(design, rest, rcond=None)
        left = float(((rest - design @ found) ** 2).sum())
        best = min(best, (left, 1 / float(hz), math.hypot(*found)))
    return best[1], best[2]


def lively_of(values: Floats, step_s: float) -> np.ndarray | None:
    """Return per sample whether its stretch of 60 s is lively; None where all are alike.

    The stretches' rms rates, as logarithms, are parted where the two heaps differ most (Otsu).
    """
    wide = round(WINDOW_S / step_s)
    count = len(values) // wide if wide > 2 else 0
    if count < FEWEST_STRETCHES:
        return None
    rates = np.diff(filled(values)[: count * wide].reshape(count, wide), axis=1)
    rms = np.log(np.sqrt((rates**2).mean(axis=1)) + 1e-6)
    order = np.sort(rms)
    splits = [
        (n * (count - n) * (order[n:].mean() - order[:n].mean()) ** 2, n) for n in range(1, count)
    ]
    n = max(splits)[1]
    calm, quick = order[:n], order[n:]
    between = quick.mean() - calm.mean()
    within = math.sqrt((calm.var() + quick.var()) / 2)
    if min(n, count - n) < LEAST_PART * count or between < max(
        APART * within, math.log(TIMES_AS_LIVELY)
    ):
        return None
    lively = np.repeat(rms >= quick[0], wide)
    return np.concatenate([lively, np.full(len(values) - len(lively), lively[-1])])


def filled(values: Floats) -> Floats:
    """Return values with those in gaps put in on straight lines."""
    known = np.isfinite(values)
    at = np.arange(len(values))
    return np.asarray(np.interp(at, at[known], values[known]))
