"""Local regression: confirmed crossings of a level, straight lines, lagged temperatures."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter

from proofbath.curve.record import Floats

SMOOTH_S = 5.0
LONGEST_SIDE_S = 120.0
FEWEST_FOR_CURVE = 6
GAP_AT_CROSSING = "gap at the crossing"
FEWEST_FOR_LINE = 3


@dataclass(frozen=True)
class Line:
    """A straight line y = level + slope (x - at), with the standard uncertainties of both."""

    at: float
    level: float
    slope: float
    level_u: float
    slope_u: float
    residual_sd: float

    def __call__(self, x: float) -> float:
        """Return the line's value at x."""
        return self.level + self.slope * (x - self.at)


def fit_line(x: Floats, y: Floats, with_slope: bool = True, batches: int = 8) -> Line:
    """Least-squares line of y on x (a mean if not `with_slope`), outliers beyond 4 sd left out.

    Uncertainties come from the scatter of batch means, so that slow disturbances count.
    Needs at least 3 points.
    """
    keep = np.ones(len(x), dtype=bool)
    for _ in range(3):
        at, level, slope = _least_squares(x[keep], y[keep], with_slope)
        rest = y - level - slope * (x - at)
        sd = 1.4826 * float(np.median(np.abs(rest[keep])))
        keep = np.abs(rest) <= 4 * sd + 1e-9
    count = min(batches, int(keep.sum()) // 2)
    kept, place = rest[keep], x[keep] - at
    spread_sd = float(np.std(kept, ddof=1)) if len(kept) > 1 else 0.0
    level_u = spread_sd / math.sqrt(len(kept))
    if count >= 3:
        means = np.array([part.mean() for part in np.array_split(kept, count)])
        level_u = max(level_u, float(np.std(means, ddof=1)) / math.sqrt(count))
    width = float(np.std(place))
    slope_u = level_u / width if width > 0 else math.inf
    return Line(at, level, slope, level_u, slope_u, spread_sd)


def _least_squares(x: Floats, y: Floats, with_slope: bool) -> tuple[float, float, float]:
    at, level = float(x.mean()), float(y.mean())
    spread = float(((x - at) ** 2).sum())
    slope = float(((x - at) * (y - level)).sum()) / spread if with_slope and spread > 0 else 0.0
    return at, level, slope


@dataclass(frozen=True)
class Crossing:
    """Where a curve passes a level: time, its own slope there, and the noise's share in s."""

    t_s: float
    index: int
    slope_per_s: float
    t_u_s: float


def changes_side(y: Floats, level: float, upward: bool) -> int | None:
    """Return the index that best parts samples on one side of `level` from those on the other.

    It is the split with the fewest samples on the wrong side, so that a bubble's step up and
    back or a lone spike confirms nothing; None when the curve does not pass the level.
    """
    past = np.where((y >= level) == upward, 1, -1)
    wrong = np.concatenate([[0], np.cumsum(past)])
    split = int(np.argmin(wrong))
    return split if 0 < split < len(y) else None


def crossing(
    t_s: Floats, y: Floats, run: Floats, *, level: float, below: float, above: float, upward: bool
) -> Crossing | str:
    """Return the confirmed crossing of `level` from a local curve, or the reason why there is none.

    The curve is fitted where y lies within `below` under and `above` over the level; a parabola,
    a line or, with few samples, the chord of the two neighbours.
    """
    split = changes_side(y, level, upward)
    if split is None:
        return "the curve does not pass this lift"
    if run[split] != run[split - 1]:
        return f"{GAP_AT_CROSSING}: the samples have a gap where the curve passes this lift"
    first, end = _window(t_s, y, run, split, (level - below, level + above))
    if end - first < FEWEST_FOR_LINE:
        return _chord(t_s, y, split, level)
    degree = 2 if end - first >= FEWEST_FOR_CURVE else 1
    return _on_polynomial(t_s[first:end], y[first:end], level, degree, split) or _chord(
        t_s, y, split, level
    )


def _window(
    t_s: Floats, y: Floats, run: Floats, split: int, band: tuple[float, float]
) -> tuple[int, int]:
    """Widen from the split while the smoothed curve stays in the band, the run and 120 s."""
    near = np.flatnonzero((np.abs(t_s - t_s[split]) <= LONGEST_SIDE_S) & (run == run[split]))
    low, high = int(near[0]), int(near[-1]) + 1
    interval = max(float(np.median(np.diff(t_s[low:high]))), 1e-3) if high - low > 1 else 1.0
    width = max(1, round(SMOOTH_S / interval))
    smooth = np.convolve(
        np.pad(y[low:high], (width // 2, width - 1 - width // 2), mode="edge"),
        np.full(width, 1.0 / width),
        mode="valid",
    )
    out = (smooth < band[0]) | (smooth > band[1])
    left = np.flatnonzero(out[: split - low])
    right = np.flatnonzero(out[split - low :])
    first = low + int(left[-1]) + 1 if len(left) else low
    return first, split + int(right[0]) if len(right) else high


def _on_polynomial(
    t_s: Floats, y: Floats, level: float, degree: int, split: int
) -> Crossing | None:
    at = float(t_s.mean())
    scale = max(float(np.ptp(t_s)) / 2, 1e-9)
    matrix = np.vander((t_s - at) / scale, degree + 1)
    solution, *_ = np.linalg.lstsq(matrix, y, rcond=None)
    rest = y - matrix @ solution
    sd = math.sqrt(float(rest @ rest) / max(1, len(y) - degree - 1))
    shifted = solution.copy()
    shifted[-1] -= level
    roots = np.roots(shifted)
    real = roots[np.abs(roots.imag) < 1e-9].real
    real = real[np.abs(real) <= 1.5]
    if not len(real):
        return None
    root = float(real[np.argmin(np.abs(real))])
    slope = float(np.polyval(np.polyder(solution), root)) / scale
    if slope == 0.0:
        return None
    row = np.vander([root], degree + 1)[0]
    spread = float(row @ np.linalg.pinv(matrix.T @ matrix) @ row)
    return Crossing(at + root * scale, split, slope, sd * math.sqrt(spread) / abs(slope))


def _chord(t_s: Floats, y: Floats, split: int, level: float) -> Crossing:
    step_s, rise = float(t_s[split] - t_s[split - 1]), float(y[split] - y[split - 1])
    share = (level - float(y[split - 1])) / rise if rise else 0.5
    slope = rise / step_s if rise else math.inf
    return Crossing(
        float(t_s[split - 1]) + share * step_s, split, slope, step_s / math.sqrt(12) / 2
    )


def lagged(t_s: Floats, bath_c: Floats, lag_s: float) -> Floats:
    """Return the bath temperature as a first-order element of time constant `lag_s` follows it.

    Exact for a bath that moves on straight lines between samples of a uniform grid; it starts in
    balance with the first sample.
    """
    if lag_s <= 0 or len(t_s) < 2:
        return bath_c
    step_s = min(1.0, max(0.05, float(np.median(np.diff(t_s)))))
    grid_s = np.arange(t_s[0], t_s[-1] + step_s, step_s)
    bath = np.interp(grid_s, t_s, bath_c)
    keep = math.exp(-step_s / lag_s)
    new = 1 - lag_s / step_s * (1 - keep)
    old = lag_s / step_s * (1 - keep) - keep
    state = [(keep + old) * bath[0]]
    followed, _ = lfilter([new, old], [1.0, -keep], bath, zi=state)
    return np.interp(t_s, grid_s, followed)
