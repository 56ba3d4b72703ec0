"""Cycles of a record from the bath temperature alone: rising branch, top hold, falling branch."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from proofbath.curve.record import Floats
from proofbath.curve.samples import Samples

SMALLEST_SWING_K = 3.0
TOP_BAND_K = 0.3
SHORTEST_HOLD_S = 60.0
UNSEEN_K, FALLS_ON_K = 0.3, 1.0
"""A fall in which the bath moved unseen goes on where it falls by more than this behind the gap."""


@dataclass(frozen=True)
class Cycle:
    """Index ranges of one cycle in its samples; `end` is excluded, an absent part is empty.

    rising = [first, top), hold = [top, fall), falling = [fall, end).  Where the bath went on
    unseen and then falls no more, the fall ends at the gap: the rest of it was not recorded.
    """

    first: int
    top: int
    fall: int
    end: int
    cut: bool = False
    """Whether the fall ends at such a gap."""

    @property
    def rises(self) -> bool:
        """Tell whether the cycle has a rising branch."""
        return self.top > self.first

    @property
    def falls(self) -> bool:
        """Tell whether the cycle has a falling branch."""
        return self.end > self.fall


def cycles_of(samples: Samples) -> list[Cycle]:
    """Return the cycles in time order; an empty list when the bath hardly moved.

    A turn counts when the bath then moves at least 3 K the other way, so soaks, noise and
    clipped ramps make none.
    """
    bath_c = _smooth(samples.bath_c, samples.interval_s)
    turns = _turns(bath_c)
    found = []
    for low, high in pairwise(turns):
        if bath_c[high] > bath_c[low]:
            after = next((turn for turn in turns if turn > high), high)
            found.append(_cycle(samples, bath_c, low, high, after))
        elif not found:
            found.append(Cycle(low, low, low, high + 1))
    return found


def _cycle(samples: Samples, bath_c: Floats, low: int, high: int, after: int) -> Cycle:
    """Find the top hold around the highest sample: all within 0.3 K of it, at least 60 s."""
    near = bath_c >= bath_c[high] - TOP_BAND_K
    before = np.flatnonzero(~near[low:high])
    top = low + int(before[-1]) + 1 if len(before) else low
    behind = np.flatnonzero(~near[high : after + 1])
    fall = high + int(behind[0]) if len(behind) else after + 1
    if samples.t_s[fall - 1] - samples.t_s[top] < SHORTEST_HOLD_S:
        top = fall = high
    gap = _moved_unseen(samples, high, after)
    if gap is None:
        return Cycle(low, top, fall, after + 1)
    fall = min(fall, gap)
    return Cycle(low, min(top, fall), fall, gap, True)


def _moved_unseen(samples: Samples, first: int, last: int) -> int | None:
    """Return the first sample behind a gap in which a fall came to its end, None without one."""
    bath_c = samples.bath_c[first : last + 1]
    moved = np.abs(np.diff(bath_c)) > UNSEEN_K
    for gap in np.flatnonzero((np.diff(samples.run[first : last + 1]) != 0) & moved) + 1:
        if bath_c[gap] - bath_c[gap:].min() < FALLS_ON_K:
            return first + int(gap)
    return None


def _smooth(values: Floats, interval_s: float) -> Floats:
    """Mean over about 20 s, so that a noisy bath does not hide where it turns."""
    width = min(max(1, round(20.0 / interval_s)), max(1, len(values) // 10))
    if width < 2:
        return values
    padded = np.pad(values, (width // 2, width - 1 - width // 2), mode="edge")
    return np.convolve(padded, np.full(width, 1.0 / width), mode="valid")


def _turns(bath_c: Floats) -> list[int]:
    """Return indices of the alternating lows and highs, first and last extreme included."""
    turns: list[int] = []
    low = high = 0
    direction = 0
    for index, value in enumerate(bath_c.tolist()):
        high = index if value > bath_c[high] else high
        low = index if value < bath_c[low] else low
        if direction <= 0 and value - bath_c[low] >= SMALLEST_SWING_K:
            turns.append(low)
            direction, high = 1, index
        elif direction >= 0 and bath_c[high] - value >= SMALLEST_SWING_K:
            turns.append(high)
            direction, low = -1, index
    if direction:
        turns.append(high if direction > 0 else low)
    return turns
