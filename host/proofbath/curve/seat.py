"""Does a valve leave its seat, or fall on it, with a jump? Stick-slip shows at the crossing alone.

Wax and drive move evenly, so a sound valve leaves its seat at the speed it goes on with.  One that
holds to its seat stays shut while the wax pushes, and then is open by some tenths of a millimetre
at once; one that hangs before it falls shut by as much.  The lift beside the crossing is prolonged
to it from both sides: what is left between the lines is the jump.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from proofbath.curve.features import CycleFeatures
from proofbath.curve.local import changes_side, fit_line
from proofbath.curve.record import Floats
from proofbath.curve.samples import Samples
from proofbath.curve.zero import Zero

JUMP_MM = 0.3
SHUT_MM = 0.1
LEFT_OUT_S, BESIDE_S, LONGEST_BESIDE_S = 2.0, 20.0, 45.0
FEWEST_BESIDE = 4
NOISES = 6
STAYS_SHARE = 0.7  # a bubble comes and goes within some seconds; a valve that left its seat stays
RATE_WINDOW_S = 30.0
SLOWEST_RAMP_K_PER_MIN, FASTEST_RAMP_K_PER_MIN = 0.3, 6.0
UNEVEN_SHARE = 0.5


class _Side(NamedTuple):
    """One side's lift at the crossing by its line, the noise, and the lift farther away."""

    at_mm: float
    noise_mm: float
    later_mm: float


def even_ramp(part: Samples, sign: int = 1) -> np.ndarray:
    """Tell where bath (or drive) rises, or falls, alike before and behind a sample.

    Where a current is switched the drive jumps, and a sound valve runs after it and comes to rest.
    """
    half = max(1, round(RATE_WINDOW_S / part.interval_s))
    here = np.arange(len(part))
    ahead, behind = np.minimum(here + half, len(part) - 1), np.maximum(here - half, 0)
    with np.errstate(invalid="ignore"):
        later = (part.bath_c[ahead] - part.bath_c) / (part.t_s[ahead] - part.t_s)
        before = (part.bath_c - part.bath_c[behind]) / (part.t_s - part.t_s[behind])
    mean = sign * 30 * (later + before)
    even = 60 * np.abs(later - before) < UNEVEN_SHARE * mean
    found: np.ndarray = even & (mean > SLOWEST_RAMP_K_PER_MIN) & (mean < FASTEST_RAMP_K_PER_MIN)
    return found


def jumps_at_seat(cycles: Sequence[CycleFeatures]) -> tuple[float, float]:
    """Return the largest jump in mm with which the valve opened, and with which it closed."""
    shut = [(c, c.zero) for c in cycles if c.zero is not None]
    opens = [_jump(c.rising, zero, 1) for c, zero in shut]
    closes = [_jump(c.falling, zero, -1) for c, zero in shut]
    return max(opens, default=0.0), max(closes, default=0.0)


def _jump(part: Samples, zero: Zero, sign: int) -> float:
    """Return how far the lift jumps where it passes half of the least jump; 0 below that."""
    if len(part) < 2 * FEWEST_BESIDE:
        return 0.0
    lift_mm = part.lift_mm - zero.reading_mm(part.bath_c)
    at = changes_side(lift_mm, JUMP_MM / 2, upward=sign > 0)
    if at is None or part.run[at] != part.run[at - 1] or not even_ramp(part, sign)[at]:
        return 0.0
    away_s = sign * (part.t_s - (part.t_s[at - 1] + part.t_s[at]) / 2)
    shut, opened = _beside(part, lift_mm, -away_s), _beside(part, lift_mm, away_s)
    if shut is None or opened is None:
        return 0.0
    jump_mm = opened.at_mm - max(shut.at_mm, 0.0)
    sure_mm = max(JUMP_MM, NOISES * max(shut.noise_mm, opened.noise_mm))
    stays = shut.later_mm < SHUT_MM and opened.later_mm > STAYS_SHARE * jump_mm
    return jump_mm if jump_mm > sure_mm and shut.at_mm < SHUT_MM and stays else 0.0


def _beside(part: Samples, lift_mm: Floats, away_s: Floats) -> _Side | None:
    """Return what one side's line says of the crossing; None with too few samples there."""
    near = (away_s > LEFT_OUT_S) & (away_s < LEFT_OUT_S + BESIDE_S)
    later = (away_s >= LEFT_OUT_S + BESIDE_S) & (away_s < LONGEST_BESIDE_S)
    if near.sum() < FEWEST_BESIDE or later.sum() < FEWEST_BESIDE:
        return None
    line = fit_line(away_s[near], lift_mm[near])
    return _Side(line(0.0), line.residual_sd, float(np.median(lift_mm[later])))
