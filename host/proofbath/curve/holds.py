"""Where a record holds one current: a feeding parted at every change, ramps of power left out."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from proofbath.curve.record import Floats
from proofbath.curve.samples import Samples

LEAST_CURRENT_A = 0.02
WIDEST, WIDEST_A = 0.02, 0.004
"""What a held current, or one under a held voltage whose element warms, strays from its mean."""
STILL, STILL_A = 0.001, 0.0005
"""Half of a hold's later samples lie so near one another; a ramp's, or its turn's, lie wider."""
OFF_END, OFF_END_A = 0.003, 0.0006
"""A sample at an edge that lies further off belongs to the ramp or the change beside it."""
RAMP_LEAVES, RAMP_LEAVES_A = 0.03, 0.01
"""A current that was so near before it was held was come to by a ramp of power: nobody set it."""
LEAST_KEPT = 0.4  # of a ramp's slice so much less lies near one current: 0.3


@dataclass(frozen=True)
class Hold:
    """Whole samples [first, end) at one current; `on_s` is when it was switched to.

    `before_a` and `after_a` are the currents beside it, the mixed second left out; `set_a` is the
    current that was set, NaN where a voltage was, None where nobody set one: there a ramp of power
    stands still, while others that share the step go on.
    """

    first: int
    end: int
    on_s: float
    off_s: float
    element_a: float
    before_a: float
    after_a: float
    set_a: float | None

    @property
    def powered(self) -> bool:
        """Tell whether a current flows."""
        return self.element_a > LEAST_CURRENT_A


def holds_of(samples: Samples) -> list[Hold]:
    """Return each stretch of at least five samples at one current, no current included.

    The second in which a current changes is a mixture of two and belongs to neither.
    """
    if samples.element_a is None:
        return []
    amps = np.nan_to_num(samples.element_a)
    amps = np.where(amps > LEAST_CURRENT_A, amps, 0.0)
    found = []
    for first, end in _slices(amps, _set_otherwise(samples)):
        edges = _without_edges(amps, first, end)
        if edges is not None:
            found.append(_hold(samples, amps, *edges))
    return found


def _set_otherwise(samples: Samples) -> Floats:
    """Return the first samples of what was set and of what came behind it.

    Two currents near each other are two all the same, and a ramp of power begins slowly.
    """
    at_s = [s for told in samples.set_currents or () for s in (told.from_s, told.to_s)]
    return np.searchsorted(samples.t_s, at_s).astype(np.float64)


def _slices(amps: Floats, cuts: Floats) -> Iterator[tuple[int, int]]:
    """Cut where the current leaves the band around where it settled, goes on or off, or is set."""
    first, count = 0, len(amps)
    while first < count:
        around = float(np.median(amps[first + 1 : first + 6])) if first + 1 < count else amps[first]
        off = np.abs(amps[first + 1 :] - around) > max(WIDEST * around, WIDEST_A)
        end = first + 1 + int(np.argmax(off)) if off.any() else count
        end = int(min([end, *cuts[cuts > first]]))
        yield first, end
        first = end


def _without_edges(amps: Floats, first: int, end: int) -> tuple[int, int] | None:
    """Leave mixed samples off; None for a slice of a ramp, or too short to be anything."""
    if end - first < 5:
        return None
    level = float(np.median(amps[first : first + (end - first) // 2 + 1]))
    allowed = max(OFF_END * level, OFF_END_A)
    near = np.abs(amps[first:end] - level) <= allowed
    if not near.any():
        return None
    begins, ends = first + int(np.argmax(near)), end - int(np.argmax(near[::-1]))
    begins = min(begins, first + 1)  # behind one mixed second a warming element may still settle
    if ends - begins < max(5, LEAST_KEPT * (end - first)):
        return None
    later = amps[begins + (ends - begins) // 2 : ends]
    low, high = np.quantile(later, (0.25, 0.75)).tolist()
    return None if high - low > max(STILL * level, STILL_A) else (begins, ends)


def _hold(samples: Samples, amps: Floats, first: int, end: int) -> Hold:
    level = float(amps[first:end].mean())
    before = float(amps[first - 2]) if first > 1 else (float(amps[0]) if first else level)
    after = float(amps[end + 1]) if end + 1 < len(amps) else level
    return Hold(
        first,
        end,
        _changed_s(samples, amps, first - 1, before, level),
        _changed_s(samples, amps, end, level, after),
        level,
        before,
        after,
        _set_a(samples, first, before, level),
    )


def _set_a(samples: Samples, first: int, before: float, level: float) -> float | None:
    """Return what was set where a hold begins; where nothing tells of it, a jump was set."""
    if samples.set_currents is None:
        near_a = max(RAMP_LEAVES * level, RAMP_LEAVES_A)
        return None if first > 1 and abs(before - level) <= near_a else level
    begins_s = float(samples.t_s[first + 2])  # behind the mixed second
    told = (one for one in samples.set_currents if one.from_s <= begins_s < one.to_s)
    return next((one.element_a for one in told), None)


def _changed_s(samples: Samples, amps: Floats, at: int, before: float, after: float) -> float:
    """When the current changed inside one sample, told by how much of either it holds."""
    last = len(amps) - 1
    if not 0 <= at <= last:
        return float(samples.t_s[min(max(at, 0), last)])
    share = 0.5
    if abs(after - before) > WIDEST_A:
        share = min(max((float(amps[at]) - before) / (after - before), 0.0), 1.0)
    return float(samples.t_s[at]) + samples.interval_s * (0.5 - share)
