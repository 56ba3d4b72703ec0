"""The zero of a lift gauge: a fit of the closed part of a branch, not one reading."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from proofbath.curve.local import changes_side, fit_line
from proofbath.curve.record import Floats

CLEARLY_OPEN_MM = 0.5
TOE_K, STEP_DOWN_K = 2.5, 0.5
WARMEST_K = 1.0
LONGEST_SPAN_K = 10.0
SLOPE_SPAN_K = 6.0
SHORTEST_SPAN_K = 0.5
LARGEST_SLOPE_MM_PER_K = 0.005  # twice that of 100 mm of aluminium: steeper is a valve that opens
UNKNOWN_SLOPE_MM_PER_K = 0.0012  # common practice, no source: 100 mm of steel as fixture


@dataclass(frozen=True)
class Zero:
    """The gauge's reading with the valve shut, against bath temperature, with uncertainties."""

    at_c: float
    level_mm: float
    slope_mm_per_k: float
    level_u_mm: float
    slope_u_mm_per_k: float
    noise_mm: float
    span_k: float
    end_c: float
    note: str

    def reading_mm(self, bath_c: Floats) -> Floats:
        """Return the shut valve's gauge reading at bath temperatures."""
        return self.level_mm + self.slope_mm_per_k * (bath_c - self.at_c)

    def u_mm(self, bath_c: float) -> float:
        """Standard uncertainty of that reading at one bath temperature."""
        return math.hypot(self.level_u_mm, self.slope_u_mm_per_k * (bath_c - self.at_c))


def find_zero(
    bath_c: Floats,
    lift_mm: Floats,
    threshold_mm: float,
    unknown_slope_mm_per_k: float = UNKNOWN_SLOPE_MM_PER_K,
) -> Zero | str:
    """Return the zero of one branch in the order cold to hot, or the reason why there is none.

    The closed part ends 2.5 K below the clearly open lift and, from there, as far below as the
    line through its colder half still foretells its warmest kelvin. A slope is fitted from 6 K
    of it on; with less the level alone, and the unknown slope's uncertainty is said.
    """
    opened_c = _clearly_open(bath_c, lift_mm, threshold_mm)
    if isinstance(opened_c, str):
        return opened_c
    coldest_c = float(bath_c.min())
    before = int(np.argmax(bath_c >= opened_c))
    for end_c in np.arange(opened_c - TOE_K, coldest_c, -STEP_DOWN_K).tolist():
        inside = bath_c[:before] <= end_c
        inside &= bath_c[:before] >= end_c - LONGEST_SPAN_K
        span_k = end_c - max(coldest_c, end_c - LONGEST_SPAN_K)
        if span_k < SHORTEST_SPAN_K:
            break
        if inside.sum() < 5:  # the drive jumped over these when a current was switched on
            continue
        shown_c = bath_c[:before][inside]
        low_c, high_c = np.quantile(shown_c, (0.05, 0.95)).tolist()
        if high_c - low_c < WARMEST_K < low_c - coldest_c:
            continue  # one level of a staircase: nothing colder tells whether it was shut
        span_k = min(span_k, float(np.ptp(shown_c)) + STEP_DOWN_K)
        zero = fit_zero(shown_c, lift_mm[:before][inside], span_k, unknown_slope_mm_per_k)
        if _foretells(zero, shown_c, lift_mm[:before][inside]):
            return zero
    return (
        f"no closed part: it is open already at the coldest bath of {coldest_c:.1f} °C, the valve"
        " moves there; start colder"
    )


def _clearly_open(bath_c: Floats, lift_mm: Floats, threshold_mm: float) -> float | str:
    base, most = _cold_and_most(bath_c, lift_mm)
    if most < threshold_mm:
        return f"never opened: the largest lift is {most:.3f} mm at up to {bath_c.max():.1f} °C"
    level = base + max(threshold_mm, min(CLEARLY_OPEN_MM, 0.5 * most))
    split = changes_side(lift_mm, level, upward=True)
    if split is None:
        return "the lift falls while the bath rises; check the gauge's sign"
    return float(bath_c[split])


def _cold_and_most(bath_c: Floats, lift_mm: Floats) -> tuple[float, float]:
    """Return the reading of the coldest kelvin, and how far above it the highest lies."""
    base = float(np.median(lift_mm[bath_c <= bath_c.min() + 1.0]))
    return base, float(np.quantile(lift_mm, 0.995)) - base


def always_shut(bath_c: Floats, lift_mm: Floats, threshold_mm: float) -> bool:
    """Tell whether the lift never rose by the threshold: the valve stayed as it began."""
    return _cold_and_most(bath_c, lift_mm)[1] < threshold_mm


def fit_zero(bath_c: Floats, lift_mm: Floats, span_k: float, unknown_slope: float) -> Zero:
    """Return the zero that samples of a shut valve show: level and, from 6 K on, slope."""
    with_slope = span_k >= SLOPE_SPAN_K
    line = fit_line(bath_c, lift_mm, with_slope)
    note = f"level and slope from {span_k:.1f} K of closed curve"
    if not with_slope:
        note = (
            f"level only: {span_k:.1f} K of closed curve, {SLOPE_SPAN_K:g} K are needed for a slope"
        )
    return Zero(
        line.at,
        line.level,
        line.slope,
        line.level_u,
        line.slope_u if with_slope else unknown_slope,
        line.residual_sd,
        span_k,
        float(bath_c.max()),
        note,
    )


def _foretells(zero: Zero, bath_c: Floats, lift_mm: Floats) -> bool:
    """Tell whether the warmest kelvin lies on the line of the rest: else the toe has begun."""
    if zero.slope_mm_per_k > LARGEST_SLOPE_MM_PER_K:
        return False
    warm = bath_c > bath_c.max() - WARMEST_K
    if warm.all() or warm.sum() < 3:
        return True
    rest = fit_line(bath_c[~warm], lift_mm[~warm], with_slope=zero.span_k >= SLOPE_SPAN_K)
    excess = float(np.mean(lift_mm[warm]) - rest(float(np.mean(bath_c[warm]))))
    allowed = 0.004 + 4 * zero.noise_mm / math.sqrt(float(warm.sum())) + 4 * rest.level_u
    return excess <= allowed
