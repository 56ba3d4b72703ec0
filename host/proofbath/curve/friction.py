"""Hysteresis in mm on top of the wax's own in K: a weak spring, a pin or a valve that hangs.

Wax closes colder than it opens by a width in K that is the same at every lift.  A valve that hangs
stays open by a width in mm: in K that is wide where the curve is flat and narrow where it is steep.
Both branches, freed from their lag, are compared over the whole stroke; a width in mm is what of
their distance follows the curve's flatness.  Heat that melts the wax goes with the lift, so a
branch lags by a time constant times the speed of lift and of temperature together.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from proofbath.curve.features import CycleFeatures
from proofbath.curve.lag import SENSIBLE_MM_PER_K, SHAPE_RELATIVE_U, Lag
from proofbath.curve.local import fit_line
from proofbath.curve.record import Floats
from proofbath.curve.samples import Samples
from proofbath.curve.zero import Zero

LOWEST_MM, STEP_MM, HALF_WINDOW_MM = 0.3, 0.2, 0.2
SHARE_OF_STROKE = 0.88
"""Nearer to its top a valve meets its stop, or the bath turns before the wax has followed."""
FEWEST_LEVELS, FEWEST_SAMPLES = 6, 8
SLOWEST_K_PER_MIN, FASTEST_K_PER_MIN = 0.15, 4.0
BEND_HALF_MM, FEWEST_FOR_BEND = 0.6, 3
FLATTEST_K_PER_MM, LEAST_SPREAD_K_PER_MM = 6.0, 0.35
"""In the toe the curve is too flat to tell its slope; a straight one cannot tell mm from K."""


ALIKE_LEVELS = 5
"""So many neighbours share the errors of one: windows overlap, and a bath wanders slowly."""
LEAST_SD_K = 0.02
GROWTH_U = 0.25
"""Of the lag known beforehand, how far it goes with the lift's speed: an element whose lag is the
same at every lift has it all from the bath's rate (from memory: elements differ)."""


class Width(NamedTuple):
    """A hysteresis in mm with its standard uncertainty."""

    width_mm: float
    u_mm: float


class _Branch(NamedTuple):
    """Where a branch passes the levels, NaN where it does not, and the speed it lags by in mm/s."""

    bath_c: Floats
    speed_mm_per_s: Floats

    def at_rest(self, s_k_per_mm: float) -> Floats:
        return self.bath_c - s_k_per_mm * self.speed_mm_per_s


class _Points(NamedTuple):
    """Levels of all cycles: flatness in K/mm, distance of the branches, and of their speeds."""

    flat: Floats
    wide_k: Floats
    speed_mm_per_s: Floats


class _Weighed(NamedTuple):
    """A lag over speed in K s/mm, with its standard uncertainty."""

    value: float
    u: float


def width_in_mm(
    cycles: Sequence[CycleFeatures], lag: Lag, start_slope_mm_per_k: float
) -> Width | None:
    """Return the hysteresis in mm that cycles share, None where their curves cannot tell it.

    `lag` is what is known beforehand of the one at the start, where the lift's slope is
    `start_slope_mm_per_k`; what the branches say of it themselves is weighed in.
    """
    pairs = [pair for c in cycles if (pair := _branches(c)) is not None]
    per_mm = 1 / (start_slope_mm_per_k + SENSIBLE_MM_PER_K)
    points = _points(pairs, lag.lag_s * per_mm)
    if len(points.wide_k) < FEWEST_LEVELS or np.ptp(points.flat) < LEAST_SPREAD_K_PER_MM:
        return None
    known_u_s = math.hypot(lag.u_s, GROWTH_U * lag.lag_s)
    weighed = _weighed(points, lag.lag_s * per_mm, known_u_s * per_mm)

    def at(s_k_per_mm: float) -> Width:
        line = fit_line(points.flat, points.wide_k - s_k_per_mm * points.speed_mm_per_s)
        return Width(line.slope, line.slope_u)

    found = at(weighed.value)
    apart_mm = (at(weighed.value + weighed.u).width_mm - at(weighed.value - weighed.u).width_mm) / 2
    return Width(found.width_mm, math.hypot(found.u_mm, apart_mm))


def _branches(c: CycleFeatures) -> tuple[_Branch, _Branch] | None:
    """Return a cycle's rise before its top hold, and its fall, at the same levels."""
    rising = c.rising.part(0, c.cycle.top - c.cycle.first)
    if c.zero is None or min(len(rising), len(c.falling)) < FEWEST_SAMPLES:
        return None
    most_mm = float(np.quantile(_lift(rising, c.zero), 0.995))
    levels = np.arange(LOWEST_MM, SHARE_OF_STROKE * most_mm, STEP_MM)
    if len(levels) < FEWEST_LEVELS:
        return None
    return _branch(rising, c.zero, levels, 1), _branch(c.falling, c.zero, levels, -1)


def _lift(part: Samples, zero: Zero) -> Floats:
    return np.asarray(part.lift_mm - zero.reading_mm(part.bath_c))


def _branch(part: Samples, zero: Zero, levels_mm: Floats, sign: int) -> _Branch:
    """Pass lines through the samples near each level; holds, jumps and turns have no passing."""
    lift_mm = _lift(part, zero)
    bath_c, speed = np.full(len(levels_mm), np.nan), np.full(len(levels_mm), np.nan)
    for i, level_mm in enumerate(levels_mm.tolist()):
        near = np.abs(lift_mm - level_mm) <= HALF_WINDOW_MM
        if near.sum() < FEWEST_SAMPLES:
            continue
        t_s = part.t_s[near]
        bath, lift = fit_line(t_s, part.bath_c[near]), fit_line(t_s, lift_mm[near])
        ramps = SLOWEST_K_PER_MIN <= sign * bath.slope * 60 <= FASTEST_K_PER_MIN
        # Where a valve stands there is no passing; a window half in such a stand is no better.
        if ramps and sign * lift.slope * FLATTEST_K_PER_MM > sign * bath.slope:
            bath_c[i] = bath(lift.at + (level_mm - lift.level) / lift.slope)
            speed[i] = lift.slope + SENSIBLE_MM_PER_K * bath.slope
    return _Branch(bath_c, speed)


def _points(pairs: Sequence[tuple[_Branch, _Branch]], s_k_per_mm: float) -> _Points:
    """Return distance, flatness and difference of speeds of all levels, about each cycle's mean."""
    found = [[np.empty(0)], [np.empty(0)], [np.empty(0)]]
    for rise, fall in pairs:
        bend = _flatness(rise.at_rest(s_k_per_mm)) + _flatness(fall.at_rest(s_k_per_mm))
        used = (bend > 0) & (bend < 2 * FLATTEST_K_PER_MM)
        if used.sum() >= FEWEST_LEVELS:
            speed = rise.speed_mm_per_s - fall.speed_mm_per_s
            for column, values in zip(
                found, (bend / 2, rise.bath_c - fall.bath_c, speed), strict=True
            ):
                column.append(values[used] - values[used].mean())
    return _Points(*(np.concatenate(column) for column in found))


def _weighed(points: _Points, s_k_per_mm: float, u_k_per_mm: float) -> _Weighed:
    """Fit width and lag together, with the lag known beforehand as one more observation."""
    matrix = np.column_stack([points.flat, points.speed_mm_per_s])
    rest = points.wide_k - s_k_per_mm * points.speed_mm_per_s
    solution, *_ = np.linalg.lstsq(matrix, rest, rcond=None)
    off_k = rest - matrix @ solution
    sd_k = max(math.sqrt(float(off_k @ off_k) / len(off_k) * ALIKE_LEVELS), LEAST_SD_K)
    inverse = np.linalg.inv(matrix.T @ matrix / sd_k**2 + np.diag([0.0, 1 / u_k_per_mm**2]))
    change = float((inverse @ matrix.T @ rest / sd_k**2)[1])
    shape = SHAPE_RELATIVE_U * (s_k_per_mm + change)
    return _Weighed(s_k_per_mm + change, math.hypot(math.sqrt(inverse[1, 1]), shape))


def _flatness(bath_c: Floats) -> Floats:
    """Return dT/dL at each level from a parabola through its neighbours, NaN with too few."""
    lift_mm, whole = np.arange(len(bath_c)) * STEP_MM, np.isfinite(bath_c)
    found = np.full(len(bath_c), np.nan)
    for i in np.flatnonzero(whole).tolist():
        near = whole & (np.abs(lift_mm - lift_mm[i]) <= BEND_HALF_MM + STEP_MM / 2)
        if near.sum() > FEWEST_FOR_BEND:
            found[i] = np.polyfit(lift_mm[near] - lift_mm[i], bath_c[near], 2)[1]
    return found
