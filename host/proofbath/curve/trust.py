"""Is the curve to be trusted? Each known fault by its signature, with what it spoils."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import label, median_filter

from proofbath.curve.bench_budget import PRIOR_REPEATABILITY_K
from proofbath.curve.evidence import Evidence
from proofbath.curve.features import CycleFeatures
from proofbath.curve.friction import Width, width_in_mm
from proofbath.curve.lag import PRIOR_LAG_S, SENSIBLE_MM_PER_K
from proofbath.curve.local import changes_side
from proofbath.curve.opened import Opened
from proofbath.curve.record import CurveRecord, Floats
from proofbath.curve.result import Warned
from proofbath.curve.seat import even_ramp, jumps_at_seat

TEMPERATURES = frozenset(
    ("start_to_open_c", "closing_c", "full_open_c", "hysteresis_k", "start_by_line_c", "lag_s")
)
POWERED = frozenset(("unpowered_start_to_open_c", "shift_k_per_w"))
ALL = TEMPERATURES | POWERED | {"full_lift_mm", "zero_return_mm", "repeatability_k"}

FAST_K_PER_MIN = 1.7
NOISY_MM = 0.025
PULSE_WINDOW_S, SHORTEST_PULSE_S, LONGEST_PULSE_S = 31.0, 2.0, 15.0
PULSE_MM, FEWEST_PULSES = 0.03, 3
STAIR_RATIO, JUMPED_SHARE, FEWEST_STEPS = 0.5, 0.5, 30
SMALLEST_STEP_MM, VALVE_STEP_MM = 0.015, 0.25
OPENED_MM, SMALLEST_TRAVEL_MM = 0.3, 1.0
# From memory: pin and guide of a sound unit 0.02 to 0.08 mm; at 0.2 mm a valve begins to hang.
FRICTION_MM = 0.20
SURE_SDS = 2.0  # the 2 % that a normal spread leaves begin at 0.2 mm, far from a sound unit
NO_RETURN_K, ZERO_RETURN_MM = 8.0, 0.05
LAG_INDEX = 1.8
TYPICAL_SLOPE_MM_PER_K = 0.35
# Range of three normal values at 99 % is 4.12 sd; units of a type scatter up to 1.4 times more.
REPEAT_RANGES = 4.12 * 1.4
EVEN_SHARE = 0.2  # of the whole drift in every step: a leak goes on, a damage comes once
LARGEST_STROKE_MM, SMALLEST_STROKE_MM, SMALLEST_LIFT_MM = 25.0, 0.6, 0.15
WARM_K = 5.0
GAUGE_JUMP_MM = 1.0
STAIRS = frozenset(("gauge_sticking", "valve_sticking"))


@dataclass(frozen=True)
class Finding:
    """A recognised signature: code, sentence with what to do, and the quantities it spoils."""

    code: str
    text: str
    spoils: frozenset[str] = frozenset()

    def warned(self) -> Warned:
        """Return the finding as a warning."""
        return Warned(self.code, self.text)


def findings(record: CurveRecord, evidence: Evidence) -> list[Finding]:
    """Return what is recognised in the used cycles of a unit's record."""
    cycles = [c for c in evidence.cycles if c.zero is not None]
    found = scale_findings(record)
    if found or not cycles:
        return found
    found = gauge_findings(record, cycles)
    codes = {finding.code for finding in found}
    if "gauge_jump" in codes:
        return found
    checks = [
        _fast(cycles),
        None if codes & STAIRS else _friction(evidence, cycles),
        _no_return(cycles),
        _slow(evidence),
        _changing(evidence, cycles),
    ]
    return found + [finding for finding in checks if finding is not None]


def gauge_findings(record: CurveRecord, cycles: Sequence[CycleFeatures]) -> list[Finding]:
    """Return what gauge, pin and bubbles show in cycles of the bath or of the drive."""
    jump = _jump(cycles)
    if jump is not None:
        return [jump]
    stairs = _staircase(cycles)
    checks = [_noisy(record), stairs or _bubbles(cycles)]
    found = [finding for finding in checks if finding is not None]
    return found if stairs else found + _at_seat(cycles)


def _at_seat(cycles: Sequence[CycleFeatures]) -> list[Finding]:
    """A valve that sticks at its seat alone: shut or open too long, then off or on it at once."""
    opens_mm, closes_mm = jumps_at_seat(cycles)
    found = []
    if opens_mm:
        text = f"the valve opens with a jump of {opens_mm:.2f} mm: it holds to its seat; look at"
        found.append(Finding("opens_with_jump", text + " seat and rubber, clean, repeat"))
    if closes_mm:
        text = f"the valve closes with a jump of {closes_mm:.2f} mm: it hangs above its seat; look"
        found.append(Finding("closes_with_jump", text + " at pin, guide and seat, clean, repeat"))
    return found


def open_at_first_bath(opened: Opened) -> list[Finding]:
    """Return that the valve was open before the record began: no value comes from that rise."""
    if opened.at_first_bath_mm is None:
        return []
    return [Finding("open_at_first_bath", opened.sentence())]


def spoiled(found: Sequence[Finding]) -> Mapping[str, str]:
    """Return the reason for each quantity that a finding spoils."""
    return {name: f"{item.code}: {item.text}" for item in found for name in sorted(item.spoils)}


def scale_findings(record: CurveRecord) -> list[Finding]:
    """Return lift in the wrong unit or with the wrong sign."""
    lift_mm, bath_c = record.lift_mm, record.bath_c
    whole = np.isfinite(lift_mm) & np.isfinite(bath_c)
    low, middle, high = np.quantile(lift_mm[whole], [0.002, 0.5, 0.998])
    if high - low > LARGEST_STROKE_MM:
        text = f"the lift moves by {high - low:.0f} mm: counts or um? give calibrated mm"
        return [Finding("lift_unit", text, ALL)]
    if SMALLEST_LIFT_MM < high - low < SMALLEST_STROKE_MM and _warm_and_still_shut(record, whole):
        text = f"the lift reaches only {high - low:.2f} mm: inches, or a stuck valve? give mm"
        return [Finding("lift_small", text + ", or record the unit as stuck", ALL)]
    hot = whole & (bath_c > np.nanquantile(bath_c, 0.95))
    cold = whole & (bath_c < np.nanquantile(bath_c, 0.05))
    if hot.any() and cold.any() and high - low > SMALLEST_STROKE_MM:
        change = float(np.median(lift_mm[hot]) - np.median(lift_mm[cold]))
        if change < -0.5 * (high - low) and middle > low:
            text = "the lift falls as the bath warms: the gauge's sign is wrong; turn it round"
            return [Finding("lift_sign", text, ALL)]
    return []


def _warm_and_still_shut(record: CurveRecord, whole: np.ndarray) -> bool:
    """Tell whether the bath went 5 K beyond where half of that lift was reached."""
    lift_mm, bath_c = record.lift_mm[whole], record.bath_c[whole]
    half_mm = float(lift_mm.min() + lift_mm.max()) / 2
    return float(bath_c.max()) - float(bath_c[np.argmax(lift_mm > half_mm)]) > WARM_K


def _fast(cycles: Sequence[CycleFeatures]) -> Finding | None:
    rates = [c.start.rate_k_per_min for c in cycles if c.start]
    if not rates or max(rates) <= FAST_K_PER_MIN:
        return None
    text = f"a ramp of {max(rates):.1f} K/min: the lag correction is large; run 1 K/min or slower"
    return Finding("ramp_fast", text)


def _noisy(record: CurveRecord) -> Finding | None:
    """A loose vent pin that touches the gauge shows as noise; second differences see no slope."""
    bends = np.abs(np.diff(record.lift_mm[np.isfinite(record.lift_mm)], n=2))
    step_s = float(np.median(np.diff(record.t_s)))
    sd_mm = 1.4826 * float(np.median(bends)) / math.sqrt(6)
    if sd_mm <= NOISY_MM or step_s > 2.0:
        return None
    text = f"the gauge is noisy ({sd_mm:.3f} mm): loose vent pin or bad contact? secure and repeat"
    return Finding("gauge_noisy", text)


def _jump(cycles: Sequence[CycleFeatures]) -> Finding | None:
    """A gauge that loses contact leaps by more than a valve can and comes back."""
    for c in cycles:
        for part in (c.rising, c.falling):
            steps = np.diff(part.lift_mm)
            steps = steps[np.diff(part.run) == 0]
            if len(steps) and steps.max() > GAUGE_JUMP_MM and steps.min() < -GAUGE_JUMP_MM:
                text = f"the lift leaps by {np.abs(steps).max():.1f} mm and back: gauge or cable"
                return Finding("gauge_jump", text + "; mend and repeat", ALL)
    return None


def _staircase(cycles: Sequence[CycleFeatures]) -> Finding | None:
    """Rest and jump instead of motion: most of the way is made in few jumps, between rests.

    Only while the bath (or the drive) ramps, for a valve in a hold rests within its friction;
    only jumps beyond what the gauge's noise and resolution make.
    """
    for c in cycles:
        steps = _steps_on_ramps(c)
        if len(steps) < FEWEST_STEPS or steps.sum() <= 0 or c.zero is None:
            continue
        mean = float(steps.mean())
        noise_mm = 1.4826 * float(np.median(np.abs(steps - np.median(steps))))
        jumps = steps[steps > max(3 * mean, 6 * noise_mm, SMALLEST_STEP_MM)]
        if jumps.sum() < JUMPED_SHARE * steps.sum() or np.median(steps) > STAIR_RATIO * mean:
            continue
        size_mm = float(np.quantile(jumps, 0.9))  # a mean over a second may halve a jump
        if size_mm > VALVE_STEP_MM:
            text = f"the valve sticks and jumps by about {size_mm:.2f} mm: clean or rework it"
            return Finding("valve_sticking", text, ALL)
        text = f"the lift moves in steps of {size_mm:.3f} mm: the gauge sticks; free it"
        return Finding("gauge_sticking", text, ALL)
    return None


def _steps_on_ramps(c: CycleFeatures) -> Floats:
    """Steps of the lift from sample to sample while the valve opens on a ramp of usual rate."""
    part = c.rising
    if c.zero is None or len(part) < 60:
        return np.empty(0)
    lift_mm = part.lift_mm - c.zero.reading_mm(part.bath_c)
    most_mm = float(lift_mm.max())
    first, end = changes_side(lift_mm, OPENED_MM, True), changes_side(lift_mm, 0.9 * most_mm, True)
    if most_mm < SMALLEST_TRAVEL_MM or first is None or end is None:
        return np.empty(0)
    ramps = even_ramp(part)[1:] & (np.diff(part.run) == 0)
    ramps &= (np.arange(1, len(part)) >= first) & (np.arange(1, len(part)) < end)
    return np.asarray(np.diff(lift_mm)[ramps])


def _bubbles(cycles: Sequence[CycleFeatures]) -> Finding | None:
    """Short lifts of 0.05 to 0.3 mm that come and go."""
    count, largest = 0, 0.0
    for c in cycles:
        lift_mm = np.concatenate([c.rising.lift_mm, c.falling.lift_mm])
        window = round(PULSE_WINDOW_S / c.rising.interval_s)
        if window < 9 or len(lift_mm) < 3 * window or c.zero is None:
            continue
        limit = max(PULSE_MM, 6 * c.zero.noise_mm)
        over = _above_motion(lift_mm, window, limit)
        groups, number = label(over > limit)
        lengths = np.bincount(groups.ravel())[1:] * c.rising.interval_s
        count += int(((lengths >= SHORTEST_PULSE_S) & (lengths <= LONGEST_PULSE_S)).sum())
        largest = max(largest, float(over.max())) if number else largest
    if count < FEWEST_PULSES:
        return None
    text = f"{count} short lifts of up to {largest:.2f} mm: bubbles under plate or gauge;"
    return Finding(
        "bubbles", text + " degas the bath, tilt the unit, repeat", TEMPERATURES | POWERED
    )


def _above_motion(lift_mm: Floats, window: int, limit: float) -> Floats:
    """Lift above its running median; 0 where the motion itself turns, as a peak of power makes."""
    middle = median_filter(lift_mm, window)
    place = np.arange(len(lift_mm))
    before = middle[np.maximum(place - window, 0)]
    after = middle[np.minimum(place + window, len(lift_mm) - 1)]
    turns = (middle - before > limit) & (middle - after > limit)
    return np.where(turns, 0.0, lift_mm - middle)


def late_return(width: Width | None) -> Finding | None:
    """A hysteresis constant in mm, not in K, and more of it than its uncertainty can make."""
    if width is None or width.width_mm - SURE_SDS * width.u_mm < FRICTION_MM:
        return None
    text = (
        f"a hysteresis of about {width.width_mm:.2f} mm on top of the wax's, {FRICTION_MM:g} mm are"
        " usual at most: weak spring or friction of pin or valve; look at spring, seat and pin"
    )
    return Finding("late_return", text)


def _friction(evidence: Evidence, cycles: Sequence[CycleFeatures]) -> Finding | None:
    starts = [c.start for c in cycles if c.start]
    lag = evidence.known_lag
    if starts:
        lag = evidence.rising_at_zero_rate(evidence.threshold_mm, starts).lag
    return late_return(width_in_mm(cycles, lag, evidence.start_slope_mm_per_k))


def _no_return(cycles: Sequence[CycleFeatures]) -> Finding | None:
    for c in cycles:
        if c.start and len(c.falling) > 20 and c.zero is not None:
            shown_mm = c.falling.lift_mm - c.zero.reading_mm(c.falling.bath_c)
            end_mm = float(np.quantile(shown_mm[-60:], 0.25))
            cooled_k = c.start.bath_c - float(c.falling.bath_c.min())
            if cooled_k > NO_RETURN_K and end_mm > ZERO_RETURN_MM:
                text = (
                    f"{end_mm:.2f} mm open {cooled_k:.0f} K below the start: no full return;"
                    " look at spring, seat and gauge"
                )
                return Finding("no_return", text, frozenset(("closing_c", "hysteresis_k")))
    return None


def _slow(evidence: Evidence) -> Finding | None:
    """A lag far beyond the type's, the lift's slope allowed for: air round the element."""
    slope = evidence.start_slope_mm_per_k
    tops = [lag.lag_s for lag in evidence.top_lags]
    if not tops:
        return None
    share = (slope + SENSIBLE_MM_PER_K) / (TYPICAL_SLOPE_MM_PER_K + SENSIBLE_MM_PER_K)
    expected_s = (evidence.bench.type_lag_s or PRIOR_LAG_S) * max(share, 0.6)
    lag_s = float(np.median(tops))
    if lag_s < LAG_INDEX * expected_s:
        return None
    text = f"a lag of {lag_s:.0f} s where about {expected_s:.0f} s are usual: air round the"
    return Finding("slow_element", text + " element? vent, reseat, repeat", TEMPERATURES)


def _changing(evidence: Evidence, cycles: Sequence[CycleFeatures]) -> Finding | None:
    """Starts that change from cycle to cycle: a leak drifts one way, a jump is a damage."""
    shown = [(c.start, c.full_lift) for c in cycles if c.start]
    if len(shown) < 2:
        return None
    starts = [start for start, _ in shown]
    lag_s = evidence.rising_at_zero_rate(evidence.threshold_mm, starts).lag.lag_s
    at_zero = np.array([s.bath_c - s.lag_rate_k_per_min / 60 * lag_s for s in starts])
    pooled = evidence.bench.pooled_repeatability()
    limit_k = REPEAT_RANGES * (pooled[0] if pooled else PRIOR_REPEATABILITY_K)
    if float(np.ptp(at_zero)) <= limit_k:
        return None
    change_k = float(at_zero[-1] - at_zero[0])
    lifts = [full.lift_mm for _, full in shown if full]
    falling = len(lifts) == len(shown) and bool(np.all(np.diff(lifts) < -0.02))
    even = bool(np.all(np.diff(at_zero) > EVEN_SHARE * change_k)) and change_k > 0
    if falling and even and len(shown) > 2:
        text = f"the start rises by {change_k:.1f} K and the full lift falls run by run: wax leaks"
        return Finding("wax_leak", text + "; the element is lost", TEMPERATURES | {"full_lift_mm"})
    text = f"starts differ by {np.ptp(at_zero):.2f} K, more than {limit_k:.2f} K (99 %) allows:"
    return Finding("not_repeatable", text + " overheated, loose or sticking? look and repeat")
