"""Current steps read by hand at one temperature: steady lifts, and the current that just opens.

A step is steady at two equal readings two minutes apart; nobody waits longer than that needs. Only
currents set upwards count: a lower one after a higher finds the wax on its falling branch.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from itertools import groupby, pairwise
from statistics import median
from typing import Any, NamedTuple

from proofbath.curve.bench_budget import PRIOR_REPEATABILITY_DOF, PRIOR_REPEATABILITY_K
from proofbath.curve.budget import Contribution
from proofbath.curve.drive import NOMINAL_K_PER_W
from proofbath.curve.hand_instruments import HandSetup
from proofbath.curve.hand_record import HandPoint, same_current
from proofbath.curve.hand_start import (
    FRAME_MM_PER_K,
    evenly,
    gradient_k,
    reading_u,
    shut_readings,
)
from proofbath.curve.result import Quantity, known, unknown

APART_S, APART_SLACK_S = 120.0, 10.0
ONE_TEMPERATURE_K = 1.5
OFF_A = 0.02
STEEPEST_MM_PER_W = 2.2  # from memory: 0.8 mm/K of opening curve at 2.7 K/W
USUAL_MM_PER_W = 1.0
BENDS_UP_MM = 6.0  # from memory: up to there an opening curve grows steeper
PowerOf = Callable[[Sequence[HandPoint], float], tuple[float | None, float]]
"""The power of readings under a current with its standard uncertainty."""


class HandStep(NamedTuple):
    """A current held at one temperature; `steady_mm` is null until two equal readings."""

    element_a: float
    power_w: float | None
    power_u_w: float
    bath_c: float
    steady_mm: Quantity

    def to_json(self) -> dict[str, Any]:
        """Return the step as it is printed and kept."""
        return {
            "element_a": round(self.element_a, 4),
            "power_w": self.power_w,
            "bath_c": round(self.bath_c, 3),
            "steady_lift_mm": self.steady_mm.to_json(),
        }


class Opening(NamedTuple):
    """What just opens the unit at one temperature."""

    power_w: Quantity
    current_a: Quantity
    bath_c: float
    own_u_w: float
    """Standard uncertainty of the power without what all temperatures share."""


class _Steady(NamedTuple):
    element_a: float
    power_w: float | None
    power_u_w: float
    bath_c: float
    lift_mm: float
    reason: str | None


def current_steps(
    points: Sequence[HandPoint], setup: HandSetup, power_of: PowerOf
) -> list[HandStep]:
    """Return the currents held at one temperature, in the order they were set."""
    found = _found(points, setup, power_of)
    powered = [one for one in found if one.element_a > OFF_A]
    return [_step(one, found, points, setup) for one in powered]


def opening(points: Sequence[HandPoint], setup: HandSetup, power_of: PowerOf) -> Opening | str:
    """Return the current that just opens the unit, or why the steps do not tell it."""
    steady = [one for one in _found(points, setup, power_of) if one.reason is None]
    powered = [one for one in steady if one.element_a > OFF_A]
    if not powered:
        return "no steady current step: set a current, read until two readings are equal"
    if any(one.power_w is None for one in powered):
        return "the power is not known: type the voltage, or give the element's ohms"
    bath_c = powered[-1].bath_c
    near = [one for one in steady if abs(one.bath_c - bath_c) <= ONE_TEMPERATURE_K]
    here = [one for one in near if one.element_a > OFF_A]
    idle_mm = [one.lift_mm for one in near if one.element_a <= OFF_A]
    if idle_mm and idle_mm[0] >= setup.threshold_mm:
        return f"{idle_mm[0]:.2f} mm open at {bath_c:.1f} °C without current: it needs none there"
    powers = sorted((one.power_w or 0.0, one.lift_mm) for one in here)
    rows = [(0.0, idle_mm[0] if idle_mm else 0.0), *powers]
    beyond = [i for i, row in enumerate(rows) if row[1] >= setup.threshold_mm]
    if not beyond:
        most = max(here, key=lambda one: one.element_a)
        return (
            f"not open at {most.element_a:.2f} A ({most.lift_mm:.2f} mm); set a higher current"
            " within what the element stands"
        )
    return _opening(rows, beyond[0], here, setup)


def _opening(
    rows: Sequence[tuple[float, float]], at: int, here: Sequence[_Steady], setup: HandSetup
) -> Opening:
    """Enclose the power between the chord of a curve that bends up and its next secant."""
    (low_w, low_mm), (first_w, first_mm) = rows[at - 1], rows[at]
    over_mm = first_mm - setup.threshold_mm
    chord = (first_mm - low_mm) / (first_w - low_w)
    least_w = first_w - over_mm / chord
    most_w = first_w - over_mm / STEEPEST_MM_PER_W
    if at + 1 < len(rows) and rows[at + 1][1] <= BENDS_UP_MM:
        secant = (rows[at + 1][1] - first_mm) / (rows[at + 1][0] - first_w)
        most_w = min(most_w, first_w - over_mm / max(secant, chord))
    value_w = (least_w + max(most_w, least_w)) / 2
    nearest = min(here, key=lambda one: abs((one.power_w or 0.0) - first_w))
    ohm = (nearest.power_w or 0.0) / nearest.element_a**2
    lift_u = math.sqrt(2) * reading_u(setup.lift_tool.expanded_u_mm, setup.lift_tool.resolution_mm)
    own = [
        evenly("between two steps", abs(most_w - least_w) / 2, "JCGM 100 4.3.7"),
        Contribution("lift reading", lift_u, 1 / max(chord, 0.2)),
        Contribution(
            "repeatability",
            PRIOR_REPEATABILITY_K,
            1 / NOMINAL_K_PER_W,
            PRIOR_REPEATABILITY_DOF,
            note="a marked prior",
        ),
        Contribution("power", nearest.power_u_w, value_w / max(first_w, 0.01)),
    ]
    shared = [
        Contribution(name, u_k, 1 / NOMINAL_K_PER_W) for name, u_k in temperature_parts(setup)
    ]
    bath_c = nearest.bath_c
    at_bath = {"bath_c": round(bath_c, 2), "lift_mm": setup.threshold_mm}
    per_w = 0.5 / math.sqrt(max(value_w, 0.05) * ohm)
    in_amps = [
        Contribution(
            c.name, c.standard_uncertainty, c.sensitivity * per_w, c.degrees_of_freedom, note=c.note
        )
        for c in (*own, *shared)
    ]
    return Opening(
        known(value_w, [*own, *shared], "zero", at_bath),
        known(math.sqrt(max(value_w, 0.0) / ohm), in_amps, "zero", at_bath),
        bath_c,
        math.hypot(*(c.share for c in own)),
    )


def temperature_parts(setup: HandSetup) -> list[tuple[str, float]]:
    """Return what makes the temperature at the unit uncertain, names and standard u in K."""
    return [
        ("thermometer", setup.thermometer.expanded_u_k / 2),
        ("temperature differs in the pot", gradient_k(setup) / math.sqrt(3)),
    ]


def _found(points: Sequence[HandPoint], setup: HandSetup, power_of: PowerOf) -> list[_Steady]:
    """Return each stretch of one current at one temperature with its lift, or why it has none."""
    found: list[_Steady] = []
    zero_mm, greatest_a, shut = math.nan, 0.0, False
    for part in _parts(points):
        lifts = [p for p in part if not math.isnan(p.lift_mm)]
        if part[0].element_a <= OFF_A:
            closed = shut_readings(lifts, setup)
            if closed and math.isnan(zero_mm):
                zero_mm = median(p.lift_mm for p in closed)
            off_mm = [p.lift_mm - zero_mm for p in lifts]
            if any(abs(lift_mm) < setup.threshold_mm for lift_mm in off_mm):
                greatest_a, shut = 0.0, True
            if off_mm:
                found.append(_Steady(0.0, 0.0, 0.0, lifts[-1].bath_c, off_mm[-1], None))
            continue
        baths = [p.bath_c for p in part]
        element_a = math.fsum(p.element_a for p in part) / len(part)
        upward = element_a > greatest_a
        greatest_a = max(greatest_a, element_a)
        if not lifts or max(baths) - min(baths) > ONE_TEMPERATURE_K:
            continue
        reason = _why_not(lifts, setup, upward, shut)
        power_w, power_u_w = power_of(part, element_a)
        lift_mm = lifts[-1].lift_mm - zero_mm
        bath_c = math.fsum(p.bath_c for p in lifts[-2:]) / len(lifts[-2:])
        found.append(_Steady(element_a, power_w, power_u_w, bath_c, lift_mm, reason))
    return found


def _parts(points: Sequence[HandPoint]) -> list[list[HandPoint]]:
    parts: list[list[HandPoint]] = []
    for _, run in groupby(points, key=lambda p: p.element_a <= OFF_A):
        run_points = list(run)
        parts.append([run_points[0]])
        for before, after in pairwise(run_points):
            if same_current(before.element_a, after.element_a):
                parts[-1].append(after)
            else:
                parts.append([after])
    return parts


def _why_not(lifts: Sequence[HandPoint], setup: HandSetup, upward: bool, shut: bool) -> str | None:
    if not shut:
        return "no lift without current before it: read the shut valve first, heater off"
    if not upward:
        return "set down from a higher current: the wax is on its falling branch; only upwards"
    return unsteady(lifts, setup)


def unsteady(lifts: Sequence[HandPoint], setup: HandSetup) -> str | None:
    """Return why lifts under one current are not steady yet, None where they are."""
    last = lifts[-1]
    before = [p for p in lifts if last.t_s - p.t_s >= APART_S - APART_SLACK_S]
    if not before:
        return f"read again {APART_S / 60:.0f} min after the first: two equal readings are needed"
    moved_mm = last.lift_mm - before[-1].lift_mm
    minutes = (last.t_s - before[-1].t_s) / 60
    if abs(moved_mm) > setup.lift_tool.resolution_mm + 1e-6:
        return f"still moved {moved_mm:+.2f} mm in {minutes:.0f} min; read again in 2 min"
    return None


def _step(
    one: _Steady, found: Sequence[_Steady], points: Sequence[HandPoint], setup: HandSetup
) -> HandStep:
    at = {"element_a": round(one.element_a, 4), "bath_c": round(one.bath_c, 2)}
    if one.reason is not None:
        steady = unknown(one.reason, at)
    else:
        steady = known(one.lift_mm, _lift_parts(one, found, points, setup), "zero", at)
    return HandStep(one.element_a, one.power_w, one.power_u_w, one.bath_c, steady)


def _lift_parts(
    one: _Steady, found: Sequence[_Steady], points: Sequence[HandPoint], setup: HandSetup
) -> list[Contribution]:
    per_w = _mm_per_w(one, found)
    per_k = per_w / NOMINAL_K_PER_W
    tool = setup.lift_tool
    read_u = reading_u(tool.expanded_u_mm, tool.resolution_mm)
    off = [p.bath_c for p in points if p.element_a <= OFF_A and not math.isnan(p.lift_mm)]
    grown_mm = FRAME_MM_PER_K * abs(one.bath_c - off[0])
    return [
        Contribution("lift reading", read_u),
        Contribution("lift zero", read_u),
        evenly("not quite settled", tool.resolution_mm),
        evenly("expansion of what is measured", grown_mm),
        *(Contribution(name, u_k, per_k) for name, u_k in temperature_parts(setup)),
        Contribution("repeatability", PRIOR_REPEATABILITY_K, per_k, PRIOR_REPEATABILITY_DOF),
        Contribution("power", one.power_u_w, per_w),
    ]


def _mm_per_w(one: _Steady, found: Sequence[_Steady]) -> float:
    """Return the steepest slope to a neighbouring step, the usual one without any."""
    slopes = [
        abs(one.lift_mm - other.lift_mm) / abs((one.power_w or 0.0) - (other.power_w or 0.0))
        for other in found
        if other.reason is None and other.power_w != one.power_w and other is not one
    ]
    return min(max(slopes), STEEPEST_MM_PER_W) if slopes else USUAL_MM_PER_W
