"""What one cycle shows: crossings of lifts with their true rates, full lift, zero return."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TypeVar

import numpy as np

from proofbath.curve.branches import Cycle
from proofbath.curve.local import (
    GAP_AT_CROSSING,
    Crossing,
    changes_side,
    crossing,
    fit_line,
    lagged,
)
from proofbath.curve.record import Floats
from proofbath.curve.samples import Samples
from proofbath.curve.zero import UNKNOWN_SLOPE_MM_PER_K, Zero, find_zero

NOMINAL_LAG_S = 25.0
RATE_WINDOW_S = 30.0
LINE_FROM_MM, LINE_TO_MM = 0.3, 1.5
FULL_LIFT_S = 30.0
WIDEST_BAND_MM = 0.15
STEADY_LIFT_MM_PER_MIN = 0.05
CLOSED_BELOW_K = 1.5
END_OF_RISE_K = 1.5
HELD_WITHIN_K, FALL_BEGINS_S = 0.05, 10.0

_T = TypeVar("_T")


@dataclass(frozen=True)
class Event:
    """A lift passed on one branch: the bath then, its true rate, and what a lagging part felt.

    `lag_rate_k_per_min` is the bath's lead over a 25 s lag, divided by 25 s: the rate that
    counts for a lag correction where the ramp is not straight. `noise_u_k` is the share of
    lift and temperature noise.
    """

    lift_mm: float
    t_s: float
    bath_c: float
    rate_k_per_min: float
    lag_rate_k_per_min: float
    lift_slope_mm_per_k: float
    noise_u_k: float


@dataclass(frozen=True)
class Reading:
    """A lift with the standard uncertainty its noise leaves, where it was read, and dL/dT there."""

    lift_mm: float
    u_mm: float
    bath_c: float
    lift_slope_mm_per_k: float = 0.0


@dataclass(frozen=True)
class CycleFeatures:
    """All events and readings of one cycle; a missing one has its reason under its name."""

    cycle: Cycle
    rising: Samples
    falling: Samples
    zero: Zero | None
    start: Event | None = None
    closing: Event | None = None
    full_open: Event | None = None
    start_by_line_c: float | None = None
    full_lift: Reading | None = None
    zero_return: Reading | None = None
    reasons: Mapping[str, str] = field(default_factory=dict)


class Branch:
    """A branch with its lift above a zero, if not zeroed already: where it passes a lift."""

    def __init__(self, samples: Samples, zero: Zero | None, upward: bool) -> None:
        self.samples = samples
        self.upward = upward
        shut_mm = zero.reading_mm(samples.bath_c) if zero else 0.0
        self.lift_mm: Floats = samples.lift_mm - shut_mm
        self.followed_c = lagged(samples.t_s, samples.bath_c, NOMINAL_LAG_S)

    def event(self, lift_mm: float) -> Event | str:
        """Return where the branch passes a lift, or the reason why it does not."""
        if len(self.samples) < 3:
            return f"no {'rising' if self.upward else 'falling'} branch"
        band_mm = min(WIDEST_BAND_MM, 0.7 * lift_mm)
        found = crossing(
            self.samples.t_s,
            self.lift_mm,
            self.samples.run,
            level=lift_mm,
            below=band_mm,
            above=WIDEST_BAND_MM,
            upward=self.upward,
        )
        return found if isinstance(found, str) else self._event(found, lift_mm)

    def _event(self, found: Crossing, lift_mm: float) -> Event:
        bath_c, rate_per_s, bath_u_k = self.bath_at(found.t_s)
        felt_c = float(np.interp(found.t_s, self.samples.t_s, self.followed_c))
        felt_per_s = (bath_c - felt_c) / NOMINAL_LAG_S
        # In a hold the lift still follows what the lagging wax feels, not the bath at rest.
        leading_per_s = rate_per_s if abs(rate_per_s) > 0.5 * abs(felt_per_s) else felt_per_s
        slope = found.slope_per_s / leading_per_s if leading_per_s else math.inf
        return Event(
            lift_mm,
            found.t_s,
            bath_c,
            60 * rate_per_s,
            60 * felt_per_s,
            slope,
            math.hypot(bath_u_k, found.t_u_s * leading_per_s),
        )

    def bath_at(self, t_s: float) -> tuple[float, float, float]:
        """Return the bath's temperature, its rate in K/s and its noise at a time (line, ± 30 s)."""
        times = self.samples.t_s
        half_s = max(RATE_WINDOW_S, 2.5 * self.samples.interval_s)
        near = np.abs(times - t_s) <= half_s
        if near.sum() < 3:
            return float(np.interp(t_s, times, self.samples.bath_c)), 0.0, 0.05
        line = fit_line(times[near], self.samples.bath_c[near], batches=5)
        return line(t_s), line.slope, line.level_u


class _Reasons(dict[str, str]):
    """Reasons by name, filled while readings are taken."""

    def keep(self, name: str, reading: _T | str) -> _T | None:
        """Return the reading, or None after noting the reason it is instead."""
        if isinstance(reading, str):
            self[name] = reading
            return None
        return reading


@dataclass(frozen=True)
class Wanted:
    """What is read in a cycle: the start's threshold, the rated lift, the fixture's known slope."""

    threshold_mm: float = 0.1
    rated_lift_mm: float | None = None
    unknown_slope_mm_per_k: float = UNKNOWN_SLOPE_MM_PER_K


def features_of(
    samples: Samples,
    cycle: Cycle,
    wanted: Wanted,
    other_zero: Zero | None = None,
    never_closed: str | None = None,
) -> CycleFeatures:
    """Return what one cycle shows; `other_zero` serves where the cycle was never closed itself.

    `never_closed` is the reason when that is known from elsewhere, e.g. from the other cycles.
    """
    rising = samples.part(cycle.first, cycle.fall if cycle.rises else cycle.first)
    falling = samples.part(cycle.fall, cycle.end)
    reasons = _Reasons()
    own = reasons.keep("start_to_open_c", never_closed or _own_zero(samples, cycle, wanted))
    zero = own or other_zero
    if zero is None:
        return CycleFeatures(cycle, rising, falling, None, reasons=reasons)
    up, down = Branch(rising, zero, True), Branch(falling, zero, False)
    closing = reasons.keep("closing_c", _closing(down, cycle, wanted))
    full = reasons.keep("full_lift_mm", _full_lift(samples, cycle, zero))
    back = reasons.keep("zero_return_mm", _zero_return(down, closing))
    rated = line_c = start = None
    if wanted.rated_lift_mm is not None:
        rated = reasons.keep("full_open_c", up.event(wanted.rated_lift_mm))
    if own is not None:
        start = reasons.keep("start_to_open_c", up.event(wanted.threshold_mm))
        line_c = reasons.keep("start_by_line_c", _start_by_line(up))
    return CycleFeatures(
        cycle,
        rising,
        falling,
        zero,
        start,
        closing,
        rated,
        line_c,
        full,
        back,
        reasons,
    )


def _closing(down: Branch, cycle: Cycle, wanted: Wanted) -> Event | str:
    found = down.event(wanted.threshold_mm)
    if isinstance(found, str) and cycle.cut:
        return f"{GAP_AT_CROSSING}: the bath went on unseen before the valve had closed"
    return found


def _own_zero(samples: Samples, cycle: Cycle, wanted: Wanted) -> Zero | str:
    """Fit the rising branch's closed part; a falling branch alone serves read backwards."""
    limits = wanted.threshold_mm, wanted.unknown_slope_mm_per_k
    if cycle.rises:
        part = samples.part(cycle.first, cycle.fall)
        return find_zero(part.bath_c, part.lift_mm, *limits)
    part = samples.part(cycle.fall, cycle.end)
    return find_zero(part.bath_c[::-1], part.lift_mm[::-1], *limits)


def _start_by_line(up: Branch) -> float | str:
    """Where the straight line through 0.3 to 1.5 mm of lift meets zero: another quantity."""
    first = changes_side(up.lift_mm, LINE_FROM_MM, upward=True)
    end = changes_side(up.lift_mm, LINE_TO_MM, upward=True)
    if first is None or end is None or end - first < 3:
        return f"lifts from {LINE_FROM_MM} to {LINE_TO_MM} mm were not passed while rising"
    line = fit_line(up.samples.bath_c[first:end], up.lift_mm[first:end])
    if line.slope <= 0:
        return "the lift does not rise with the bath there"
    return line.at - line.level / line.slope


def _full_lift(samples: Samples, cycle: Cycle, zero: Zero) -> Reading | str:
    """Mean over the last 30 s of the top hold, steady or refused."""
    if not cycle.rises or cycle.fall - cycle.top < 5:
        return "no hold at the top; hold 5 min there"
    hold = samples.part(cycle.top, cycle.fall)
    held = hold.bath_c > np.median(hold.bath_c) - HELD_WITHIN_K
    end_s = hold.t_s[held][-1] - FALL_BEGINS_S
    last = (hold.t_s >= end_s - FULL_LIFT_S) & (hold.t_s <= end_s)
    if last.sum() < 3:
        return "too few samples in the hold at the top"
    lift_mm = hold.lift_mm[last] - zero.reading_mm(hold.bath_c[last])
    line = fit_line(hold.t_s[last], lift_mm)
    slope = _slope_at_top(samples.part(cycle.first, cycle.fall))
    if abs(line.slope) * 60 > STEADY_LIFT_MM_PER_MIN:
        return f"the lift still moved {line.slope * 60:+.2f} mm/min at the end of the hold"
    return Reading(line.level, line.level_u, float(hold.bath_c[last].mean()), slope)


def _slope_at_top(rising: Samples) -> float:
    """Slope in mm/K over the last 1.5 K that a part of 25 s lag felt: the bath rounds its corner.

    Against the bath itself the lift that still follows in the hold would steepen it by a fourth.
    """
    felt_c = lagged(rising.t_s, rising.bath_c, NOMINAL_LAG_S)
    near = felt_c > felt_c[-1] - END_OF_RISE_K
    return fit_line(felt_c[near], rising.lift_mm[near]).slope if near.sum() >= 3 else 0.0


def _zero_return(down: Branch, closing: Event | None) -> Reading | str:
    """Mean zeroed lift over the coldest 3 K of the falling branch once it has closed."""
    if closing is None:
        return "the valve did not close while the record runs"
    bath_c = down.samples.bath_c
    closed = (bath_c <= bath_c.min() + 3.0) & (bath_c < closing.bath_c - CLOSED_BELOW_K)
    if closed.sum() < 5:
        return f"the bath did not fall {CLOSED_BELOW_K:g} K below the closing temperature"
    line = fit_line(down.samples.t_s[closed], down.lift_mm[closed], with_slope=False)
    return Reading(line.level, line.level_u, float(bath_c[closed].mean()))
