"""Where a unit starts to open in one rise of typed readings, with what it hangs on.

Between two readings a person knows little: the crossing lies no earlier than the straight line
between them, since a valve's toe bends upwards, and no later than the first reading beyond the
threshold. Its value is the middle, spread evenly (JCGM 100:2008, 4.3.7).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import median
from typing import NamedTuple

import numpy as np

from proofbath.curve.budget import Contribution
from proofbath.curve.hand_instruments import HandSetup
from proofbath.curve.hand_record import HandPoint, Rise
from proofbath.curve.lag import PRIOR_LAG_S, PRIOR_LAG_SD_S

# Common practice, no source: a pot is no stirred bath, and a hand no gauge.
STIRRED_LAG_U_S, STILL_LAG_S, STILL_LAG_U_S = PRIOR_LAG_SD_S + 3.0, 2 * PRIOR_LAG_S, PRIOR_LAG_S
STIRRED_GRADIENT_K, STILL_GRADIENT_K = 0.4, 2.0
APART_S = 10.0
THERMOMETER_LAG_RELATIVE_U = 0.5
FRAME_MM_PER_K = 0.001  # from memory: 50 mm of brass
CLOSED_SPAN_K = 2.0
TOE_MM_PER_K = (0.1, 0.5)  # from memory: elements are at 0.34 there
CLOSED_SHARE = 0.99
MEDIAN_U = 1.25
"""A median of many is uncertain by sqrt(pi / 2) times what the mean is."""
NEAR_BOILING_C, BOILING_K = 96.0, 1.5
RATE_READINGS = 5
FASTEST_K_PER_MIN = 15.0


class Start(NamedTuple):
    """A start-to-open at zero rate; its own contributions and those shared by all rises, in K."""

    value_c: float
    rate_k_per_min: float
    gap_k: float
    own: tuple[Contribution, ...]
    shared: tuple[Contribution, ...]


class _Crossing(NamedTuple):
    low_c: float
    high_c: float
    at_s: float
    slope_mm_per_k: float
    gap_k: float


def find_start(
    rise: Rise, setup: HandSetup, shut_mm: float = math.nan, lift_mm: float | None = None
) -> Start | str:
    """Return where a rise passes a lift, by default the start-to-open, or why it has none.

    A rise has its own zero; `shut_mm` is what the shut valve reads in the whole record, if known.
    """
    points = [point for point in rise.points if not math.isnan(point.lift_mm)]
    closed = shut_readings(points, setup)
    if len(closed) < 2 or closed[-1].bath_c - closed[0].bath_c < CLOSED_SPAN_K:
        return (
            f"{len(closed)} readings of the shut valve before it opens, two or more over"
            f" {CLOSED_SPAN_K:g} K are needed; begin colder"
        )
    zero_mm = median(point.lift_mm for point in closed)
    if zero_mm - shut_mm >= setup.threshold_mm:
        return (
            f"the valve was {zero_mm - shut_mm:.2f} mm open already at {closed[0].bath_c:.1f} °C,"
            " where this heating begins; begin colder"
        )
    found = _crossing(points, zero_mm, setup.threshold_mm if lift_mm is None else lift_mm, setup)
    if isinstance(found, str):
        return found
    zero_c = math.fsum(point.bath_c for point in closed) / len(closed)
    middle_c = (found.low_c + found.high_c) / 2
    rate, rate_u = _rate(rise.points, found.at_s, setup.thermometer.resolution_k)
    if not abs(60 * rate) <= FASTEST_K_PER_MIN:
        return (
            f"heated at {60 * rate:.0f} K/min by the times of its readings, limit"
            f" {FASTEST_K_PER_MIN:g} K/min; type each reading when you take it"
        )
    lag_s, lag_u_s = _lag(setup)
    lift_u = reading_u(setup.lift_tool.expanded_u_mm, setup.lift_tool.resolution_mm)
    per_k = 1 / found.slope_mm_per_k
    grown_mm = FRAME_MM_PER_K * max(middle_c - zero_c, 0.0)
    own = (
        evenly("between two readings", (found.high_c - found.low_c) / 2, "JCGM 100 4.3.7"),
        Contribution("lift reading", lift_u, per_k),
        Contribution("lift zero", MEDIAN_U * lift_u / math.sqrt(len(closed)), per_k),
        evenly("expansion of what is measured", grown_mm, "", per_k),
        evenly("temperature and lift not read at once", APART_S * abs(rate)),
        Contribution("rate", rate_u, lag_s),
        evenly("thermometer's resolution", setup.thermometer.resolution_k / 2),
    )
    shared = (
        Contribution("thermometer", setup.thermometer.expanded_u_k / 2),
        evenly("temperature differs in the pot", gradient_k(setup)),
        Contribution("lag", lag_u_s, rate, note=f"{lag_s:.0f} s taken off at the rate"),
    )
    return Start(middle_c - rate * lag_s, 60 * rate, found.gap_k, own, shared)


def shut_readings(points: Sequence[HandPoint], setup: HandSetup) -> list[HandPoint]:
    """Return the first readings that agree with each other: the valve is shut."""
    within_mm = agree_mm(setup)
    closed: list[HandPoint] = []
    for point in points:
        mean = math.fsum(p.lift_mm for p in closed) / len(closed) if closed else point.lift_mm
        if abs(point.lift_mm - mean) > within_mm:
            break
        closed.append(point)
    return closed


def agree_mm(setup: HandSetup) -> float:
    """Return by how much two readings of the shut valve may differ."""
    apart_mm = max(setup.threshold_mm / 2, 2 * setup.lift_tool.expanded_u_mm)
    return min(apart_mm, CLOSED_SHARE * setup.threshold_mm)


def _on(last: HandPoint, setup: HandSetup) -> str:
    """Say how to come to the start: water that boils grows no hotter."""
    boils_c = NEAR_BOILING_C if setup.boiling_c is None else setup.boiling_c - BOILING_K
    if last.bath_c < boils_c:
        return "heat on"
    return "water boils there: take currents in it, or propylene glycol within the type's cap"


def _crossing(
    points: Sequence[HandPoint], zero_mm: float, at_mm: float, setup: HandSetup
) -> _Crossing | str:
    lifts = [point.lift_mm - zero_mm for point in points]
    below = [i for i, lift in enumerate(lifts) if lift < at_mm]
    last = below[-1]
    if last == len(points) - 1:
        return (
            f"the readings do not enclose the start: the last lift is {lifts[last]:.2f} mm at"
            f" {points[last].bath_c:.1f} °C, threshold {at_mm:g} mm;"
            f" {_on(points[last], setup)}"
        )
    before, after = points[last], points[last + 1]
    gap_k = after.bath_c - before.bath_c
    share = (at_mm - lifts[last]) / (lifts[last + 1] - lifts[last])
    in_toe = at_mm <= setup.threshold_mm
    ends = sorted((before.bath_c + (share * gap_k if in_toe else 0.0), after.bath_c))
    steep = (lifts[last + 1] - lifts[last]) / max(abs(gap_k), 1e-3)
    slope = min(max(steep, TOE_MM_PER_K[0]), TOE_MM_PER_K[1])
    return _Crossing(ends[0], ends[1], (before.t_s + after.t_s) / 2, slope, gap_k)


def _rate(points: Sequence[HandPoint], at_s: float, resolution_k: float) -> tuple[float, float]:
    """Return the rate of heating at a time and its standard uncertainty, in K per s."""
    near = sorted(points, key=lambda point: abs(point.t_s - at_s))[:RATE_READINGS]
    t_s = np.array([point.t_s for point in near])
    bath_c = np.array([point.bath_c for point in near])
    apart_s = t_s - t_s.mean()
    squares = float(apart_s @ apart_s)
    if squares == 0.0:
        return math.inf, math.inf
    rate = float(apart_s @ bath_c) / squares
    off_k = bath_c - bath_c.mean() - rate * apart_s
    scatter = math.sqrt(float(off_k @ off_k) / max(len(near) - 2, 1))
    return rate, math.hypot(scatter, resolution_k / math.sqrt(12)) / math.sqrt(squares)


def _lag(setup: HandSetup) -> tuple[float, float]:
    """Return how far the wax lags behind the thermometer and its standard uncertainty, in s."""
    thermometer_s = setup.thermometer.lag_s
    wax_s, wax_u_s = PRIOR_LAG_S, STIRRED_LAG_U_S
    if not setup.stirred:
        wax_s, wax_u_s = STILL_LAG_S, STILL_LAG_U_S
    return wax_s - thermometer_s, math.hypot(wax_u_s, THERMOMETER_LAG_RELATIVE_U * thermometer_s)


def gradient_k(setup: HandSetup) -> float:
    """Return by how much the temperature may differ in the pot, either way."""
    return STIRRED_GRADIENT_K if setup.stirred else STILL_GRADIENT_K


def reading_u(expanded_u: float, resolution: float) -> float:
    """Return the standard uncertainty of one reading (resolution: JCGM 100:2008, F.2.2.1)."""
    return math.hypot(expanded_u / 2, resolution / math.sqrt(12))


def evenly(name: str, half_width: float, note: str = "", sensitivity: float = 1.0) -> Contribution:
    """Return a contribution spread evenly over plus and minus `half_width` (JCGM 100, 4.3.7)."""
    return Contribution(name, half_width / math.sqrt(3), sensitivity, note=note)
