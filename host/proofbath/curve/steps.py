"""Steps of current at one bath temperature: how soon and how far the valve opens, and shuts."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from proofbath.curve.bench_budget import BenchBudget
from proofbath.curve.budget import Contribution
from proofbath.curve.drive import NOMINAL_K_PER_W
from proofbath.curve.evidence import scatter_dof
from proofbath.curve.holds import LEAST_CURRENT_A, Hold, holds_of
from proofbath.curve.local import Line, fit_line
from proofbath.curve.record import Floats
from proofbath.curve.result import Electrical, HeaterStep, Quantity, known, unknown
from proofbath.curve.samples import Samples
from proofbath.curve.zero import Zero
from proofbath.quantity.currents import LIFTS_AFTER_S

SHORTEST_STEP_S, SHORTEST_BEFORE_RAMP_S = 20.0, 60.0
RAMP_LEAVES, RAMP_LEAVES_A = 0.03, 0.01
"""A current that was so near before it was held was come to by a ramp of power: nobody set it."""
LEVELS_MM = (1.0, 3.0, 7.0)
AFTER_HALF_S = 3.0
SAME_BATH_K, RAMP_BEGINS_K = 1.0, 0.15
SETTLED_S, STILL_S = 30.0, 60.0
SETTLED_MM_PER_MIN = 0.1
SETTLING_S = 45.0  # from memory: lags of wax elements, 20 to 70 s; what is left is drift times this
LEAST_MOVE_MM = 0.05
# From memory: slopes in mm/K of an element model over its stroke; none where it stays shut.
USUAL_SLOPES = ((0.0, 0.1, 1.0, 4.0, 8.0, 10.0), (0.0, 0.34, 0.47, 0.72, 0.56, 0.54))
FLAT_MM, FLAT_K = 0.03, 2.0
STOPPED_MM, STOPPED_MM_PER_S, BEFORE_STOP_S = 0.05, 0.01, 10.0


@dataclass(frozen=True)
class _Step:
    """One hold of current at one bath with its zeroed lift, before steps are compared."""

    hold: Hold
    part: Samples
    lift_mm: Floats
    power_w: Floats
    end: Line | None
    stopped: bool

    @property
    def bath_c(self) -> float:
        return float(self.part.bath_c[_last(self.part)].mean())

    @property
    def drive_c(self) -> float:
        return self.bath_c + NOMINAL_K_PER_W * float(self.power_w[_last(self.part)].mean())

    @property
    def drift_mm_per_s(self) -> float:
        return self.end.slope if self.end else math.inf

    @property
    def settled(self) -> bool:
        return abs(self.drift_mm_per_s) * 60 <= SETTLED_MM_PER_MIN


def heater_steps(
    samples: Samples,
    zero: Zero | str,
    bench: BenchBudget,
    lead_ohm: float,
    threshold_mm: float = 0.1,
) -> list[HeaterStep]:
    """Return each time a current was held for at least 20 s while the bath stayed within 1 K.

    A minute at least where a ramp of the bath follows with the same current. `zero` is the shut
    valve's, or the reason why there is none; lifts are then counted from the step's beginning, and
    none is stated.
    """
    holds = holds_of(samples)
    found = []
    for hold in holds:
        was_set = hold.powered and not _ends_a_ramp(hold)
        if was_set and (step := _step(samples, hold, zero, lead_ohm)):
            found.append(step)
    return [
        _told(samples, step, _off_until(holds, step), zero, found, bench, lead_ohm, threshold_mm)
        for step in found
    ]


def _ends_a_ramp(hold: Hold) -> bool:
    """Tell whether a ramp of power stands still there: others that share the step go on."""
    near_a = max(RAMP_LEAVES * hold.element_a, RAMP_LEAVES_A)
    return hold.first > 1 and abs(hold.before_a - hold.element_a) <= near_a


def _step(samples: Samples, hold: Hold, zero: Zero | str, lead_ohm: float) -> _Step | None:
    """Keep what of a hold was run at the bath it began with; None for too short a rest."""
    bath_c = samples.bath_c[hold.first : hold.end]
    away_k = np.abs(bath_c - np.median(bath_c[:10]))
    end, shortest_s = hold.end, SHORTEST_STEP_S
    if (away_k > SAME_BATH_K).any():  # a ramp begins well before it has gone so far
        left = int(np.argmax(away_k > SAME_BATH_K))
        end = hold.first + int(np.flatnonzero(away_k[:left] <= RAMP_BEGINS_K)[-1]) + 1
        shortest_s = SHORTEST_BEFORE_RAMP_S
    if end - hold.first < 5 or samples.t_s[end - 1] - hold.on_s < shortest_s:
        return None
    part = samples.part(hold.first, end)
    lift_mm = part.lift_mm - (
        part.lift_mm[0] if isinstance(zero, str) else zero.reading_mm(part.bath_c)
    )
    amps, volts = np.asarray(part.element_a), np.nan_to_num(np.asarray(part.element_v))
    last = _last(part)
    line = fit_line(part.t_s[last], lift_mm[last]) if last.sum() > 3 else None
    return _Step(
        hold, part, lift_mm, amps * (volts - amps * lead_ohm), line, _stopped(part, lift_mm, line)
    )


def _last(part: Samples) -> np.ndarray:
    """The samples a settled value is read from: the last half minute, or minute of long steps."""
    long = part.t_s[-1] - part.t_s[0] > 4 * STILL_S
    last: np.ndarray = part.t_s >= part.t_s[-1] - (STILL_S if long else SETTLED_S)
    return last


def _stopped(part: Samples, lift_mm: Floats, end: Line | None) -> bool:
    """Tell whether the lift ran against a stop: it came at speed and stood still at once."""
    if end is None:
        return False
    arrived = int(np.argmax(lift_mm >= end.level - STOPPED_MM))
    before = int(np.searchsorted(part.t_s, part.t_s[arrived] - BEFORE_STOP_S))
    if arrived - before < 3 or end.level < STOPPED_MM:
        return False
    rise = lift_mm[arrived] - lift_mm[before]
    speed = float(rise) / float(part.t_s[arrived] - part.t_s[before])
    return speed > STOPPED_MM_PER_S and abs(end.slope) * BEFORE_STOP_S < STOPPED_MM / 5


def _off_until(holds: Sequence[Hold], step: _Step) -> Hold | None:
    """The time without current behind a step; None where another current or a ramp follows."""
    behind = next((hold for hold in holds if hold.first >= step.hold.end), None)
    if behind is None or behind.powered or behind.first > step.hold.end + 1:
        return None
    return behind


def _told(
    samples: Samples,
    step: _Step,
    off: Hold | None,
    zero: Zero | str,
    steps: Sequence[_Step],
    bench: BenchBudget,
    lead_ohm: float,
    threshold_mm: float,
) -> HeaterStep:
    at = {"element_a": round(step.hold.element_a, 4), "bath_c": round(step.bath_c, 3)}
    settled = _electrical(step, _last(step.part), lead_ohm)
    at["power_w"] = round(settled.power_w, 3)
    slope = _slope(step, steps)
    last, early = _last(step.part), step.part.t_s <= step.part.t_s[0] + 5.0
    ohms = np.asarray(step.part.element_v)[last] / np.asarray(step.part.element_a)[last]
    open_at_end = step.end is not None and step.end.level > threshold_mm
    closes_s, why_open = (
        _closing(samples, step, off, zero, threshold_mm)
        if open_at_end
        else (None, "the valve was shut")
    )
    return HeaterStep(
        step.hold.on_s,
        float(step.part.t_s[-1]),
        step.bath_c,
        None if isinstance(zero, str) else float(np.median(step.lift_mm[:3])),
        _electrical(step, early, lead_ohm),
        settled,
        float(ohms.std(ddof=1) / math.sqrt(len(ohms))),
        _times(step, (threshold_mm, *LEVELS_MM)),
        _to_90_percent(step),
        closes_s,
        why_open,
        _steady(step, zero, slope, bench, at),
        _lifts_after(step, zero, slope, bench, at, threshold_mm),
    )


def _electrical(step: _Step, chosen: np.ndarray, lead_ohm: float) -> Electrical:
    amps, volts = np.asarray(step.part.element_a)[chosen], np.asarray(step.part.element_v)[chosen]
    return Electrical(
        float(amps.mean()),
        float(volts.mean()),
        float(step.power_w[chosen].mean()),
        float((volts / amps).mean()) - lead_ohm,
    )


def _times(step: _Step, levels_mm: Sequence[float]) -> dict[float, float]:
    """Return the time from switching on to each lift that was passed, not those passed before."""
    times = {}
    for level_mm in levels_mm:
        passed_s = _passed_s(step.part, step.lift_mm, level_mm, upward=True)
        begins_mm = float(np.median(step.lift_mm[:3]))
        if passed_s is not None and begins_mm < level_mm:
            times[level_mm] = max(0.0, passed_s - step.hold.on_s)
    return times


def _passed_s(part: Samples, lift_mm: Floats, level_mm: float, upward: bool) -> float | None:
    """Return when the lift first passes a level and stays past it over five samples' median.

    A line between two medians is nearer than a curve fitted over what bends as a step does.
    """
    padded = np.pad(lift_mm, 2, mode="edge")
    smooth = np.median(sliding_window_view(padded, 5), axis=1)
    past = np.flatnonzero((smooth[1:] >= level_mm) == upward)
    if not len(past):
        return None
    at = int(past[0]) + 1
    before, after = float(smooth[at - 1]), float(smooth[at])
    share = 1.0 if after == before else min(max((level_mm - before) / (after - before), 0.0), 1.0)
    return float(part.t_s[at - 1] + share * (part.t_s[at] - part.t_s[at - 1]))


def _to_90_percent(step: _Step) -> float | None:
    """Return the time to nine tenths of the way from where the step began to where it settled."""
    if step.end is None or not step.settled:
        return None
    begins_mm = float(np.median(step.lift_mm[:3]))
    way_mm = step.end.level - begins_mm
    if abs(way_mm) < LEAST_MOVE_MM:
        return None
    level_mm = begins_mm + 0.9 * way_mm
    past = np.flatnonzero((step.lift_mm >= level_mm) == (way_mm > 0))
    return float(step.part.t_s[past[0]]) - step.hold.on_s if len(past) else None


def _closing(
    samples: Samples, step: _Step, off: Hold | None, zero: Zero | str, threshold_mm: float
) -> tuple[float | None, str | None]:
    """Return the time from switching off to the threshold, or the reason why there is none."""
    if off is None:
        return None, "it was not ended by switching off"
    if isinstance(zero, str):
        return None, zero
    part = samples.part(step.hold.end, off.end)
    lift_mm = part.lift_mm - zero.reading_mm(part.bath_c)
    closed_s = _passed_s(part, lift_mm, threshold_mm, upward=False)
    if closed_s is None:
        return None, "it did not close while the current was off"
    fell_k = step.bath_c - float(np.interp(closed_s, part.t_s, part.bath_c))
    if abs(fell_k) > SAME_BATH_K:
        return None, f"the bath had moved {-fell_k:+.1f} K by then"
    return closed_s - step.hold.off_s, None


def _slope(step: _Step, steps: Sequence[_Step]) -> float:
    """Return how far the lift follows the bath at a step, in mm per K.

    The opening curve's usual slope at that lift; a pin at its stop does not follow: it came there
    at speed, or two steps of different power end at one lift.
    """
    level_mm = step.end.level if step.end else 0.0
    if step.stopped:
        return 0.0
    for other in steps:
        apart_k = abs(other.drive_c - step.drive_c)
        if other.end is None or level_mm < LEAST_MOVE_MM or apart_k < FLAT_K:
            continue
        if other.settled and abs(other.end.level - level_mm) < FLAT_MM:
            return 0.0
    return float(np.interp(level_mm, *USUAL_SLOPES))


def _steady(
    step: _Step,
    zero: Zero | str,
    slope: float,
    bench: BenchBudget,
    at: dict[str, float],
) -> Quantity:
    if isinstance(zero, str):
        return unknown(zero, at)
    if step.end is None:
        return unknown("fewer than four samples at its end", at)
    if not step.settled:
        still = f"not settled, still {60 * step.drift_mm_per_s:+.2f} mm/min"
        return unknown(f"{still}; hold the current longer", at)
    left_mm = abs(step.drift_mm_per_s) * SETTLING_S
    settling = Contribution("settling", left_mm, note="drift of the last half minute")
    budget = _budget(step, zero, slope, bench, step.end.level)
    noise = Contribution("reading noise", step.end.level_u, 1.0, 20.0, "A")
    return known(step.end.level, [*budget, noise, settling], None, at)


def _lifts_after(
    step: _Step,
    zero: Zero | str,
    slope: float,
    bench: BenchBudget,
    at: dict[str, float],
    threshold_mm: float,
) -> tuple[Quantity, ...]:
    """Return the lift at stated times behind switching on, or why there is none."""
    reason = zero if isinstance(zero, str) else _why_no_start(step, threshold_mm)
    found = []
    for after_s in LIFTS_AFTER_S:
        place = {**at, "after_s": after_s}
        at_s = step.hold.on_s + after_s
        near = np.abs(step.part.t_s - at_s) <= AFTER_HALF_S
        if isinstance(zero, str) or reason is not None:
            found.append(unknown(reason or "", place))
            continue
        if at_s > step.part.t_s[-1] + step.part.interval_s or near.sum() < 3:
            held_s = float(step.part.t_s[-1]) - step.hold.on_s
            found.append(unknown(f"the current was held for {held_s:.0f} s only", place))
            continue
        line = fit_line(step.part.t_s[near], step.lift_mm[near], batches=3)
        budget = _budget(step, zero, slope, bench, line.level)
        moving = Contribution("time", 0.5, abs(line.slope), note="when the current came on")
        noise_mm = math.hypot(line.level_u, line.slope_u * (at_s - line.at))
        noise = Contribution("reading noise", noise_mm, 1.0, 20.0, "A")
        found.append(known(line(at_s), [*budget, moving, noise], None, place))
    return tuple(found)


def _why_no_start(step: _Step, threshold_mm: float) -> str | None:
    """Return why lifts after some time mean nothing: the valve had a start already."""
    begins_mm = float(np.median(step.lift_mm[:3]))
    if step.hold.before_a > LEAST_CURRENT_A:
        return "another current flowed before; switch off and let the valve close first"
    if begins_mm > threshold_mm:
        return f"the valve stood {begins_mm:.2f} mm open before the current; let it close first"
    return None


def _budget(
    step: _Step, zero: Zero, slope: float, bench: BenchBudget, lift_mm: float
) -> list[Contribution]:
    """Return what bath, gauge, power and scatter bring to a lift, in mm through its slope."""
    pooled = bench.pooled_repeatability()
    scale = None if bench.gauge_relative is None else bench.gauge_relative * lift_mm
    heating_k = NOMINAL_K_PER_W * float(step.power_w[_last(step.part)].mean())
    power = None if bench.power_relative is None else bench.power_relative * heating_k
    cycle = Contribution("cycle repeatability", None, note="give a bench file")
    if pooled:
        cycle = Contribution("cycle repeatability", pooled[0], slope, scatter_dof(pooled[1]), "A")
    return [
        Contribution("bath probe", bench.probe_k, slope, bench.probe_dof or math.inf),
        Contribution("bath gradient", bench.gradient_k, slope),
        Contribution("gauge", bench.gauge_mm),
        Contribution("gauge scale", scale),
        Contribution("lift zero", zero.u_mm(step.bath_c), 1.0, 30.0, "A", zero.note),
        Contribution("current and power", power, slope),
        cycle,
        Contribution("change between nights", bench.night_k, slope),
    ]
