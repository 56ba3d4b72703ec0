"""Current steps read by hand at one temperature: steady lifts, and the current that just opens.

A step is steady at two equal readings two minutes apart; nobody waits longer than that needs. Only
currents set upwards count: a lower one after a higher finds the wax on its falling branch.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import groupby, pairwise
from typing import Any, NamedTuple

from proofbath.curve.bench_budget import PRIOR_REPEATABILITY_DOF, PRIOR_REPEATABILITY_K
from proofbath.curve.budget import Contribution
from proofbath.curve.drive import NOMINAL_K_PER_W
from proofbath.curve.hand_instruments import HandSetup
from proofbath.curve.hand_power import OFF_A, POWER_UNKNOWN, Fed, by_current, fed
from proofbath.curve.hand_record import HandPoint, same_current
from proofbath.curve.hand_start import (
    FRAME_MM_PER_K,
    evenly,
    gradient_k,
    reading_u,
)
from proofbath.curve.hand_zero import shut_zero, tool_mm
from proofbath.curve.result import Quantity, known, unknown

APART_S, APART_SLACK_S = 120.0, 10.0
ONE_TEMPERATURE_K = 1.5
STEEPEST_MM_PER_W = 2.2  # from memory: 0.8 mm/K of opening curve at 2.7 K/W
USUAL_MM_PER_W = 1.0
BENDS_UP_MM = 6.0  # from memory: up to there an opening curve grows steeper


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
    fed: Fed
    bath_c: float
    lift_mm: float
    reason: str | None

    @property
    def powered(self) -> bool:
        return self.fed.element_a > OFF_A


class _Row(NamedTuple):
    """The settled lifts under one current as their mean."""

    fed: Fed
    lift_mm: float


def current_steps(points: Sequence[HandPoint], setup: HandSetup) -> list[HandStep]:
    """Return the currents held at one temperature, in the order they were set."""
    found = _found(points, setup)
    return [_step(one, found, points, setup) for one in found if one.powered]


def opening(points: Sequence[HandPoint], setup: HandSetup) -> Opening | str:
    """Return the current that just opens the unit, or why the steps do not tell it."""
    found = _found(points, setup)
    steady = [one for one in found if one.reason is None]
    powered = [one for one in steady if one.powered]
    if not powered:
        why = [one.reason for one in found if one.powered and one.reason]
        until = "set a current, read until two readings are equal"
        return f"no steady current step: {why[-1] if why else until}"
    bath_c = powered[-1].bath_c
    near = [one for one in steady if abs(one.bath_c - bath_c) <= ONE_TEMPERATURE_K]
    idle_mm = [one.lift_mm for one in near if not one.powered]
    if idle_mm and idle_mm[0] >= setup.threshold_mm:
        return f"{idle_mm[0]:.2f} mm open at {bath_c:.1f} °C without current: it needs none there"
    rows = _rows([one for one in near if one.powered])
    off = _Row(Fed(0.0, 0.0, 0.0, 0.0, 0.0), idle_mm[0] if idle_mm else 0.0)
    beyond = [i for i, row in enumerate(rows) if row.lift_mm >= setup.threshold_mm]
    if not beyond:
        return (
            f"not open at {rows[-1].fed.element_a:.2f} A ({rows[-1].lift_mm:.2f} mm); set a higher"
            " current within what the element stands"
        )
    return _opening([off, *rows], beyond[0] + 1, bath_c, setup)


def _rows(here: Sequence[_Steady]) -> list[_Row]:
    """Return one row for each current, the least first: a current met twice counts as its mean."""
    groups: list[list[_Steady]] = []
    for one in sorted(here, key=lambda one: one.fed.drive_w):
        if groups and same_current(groups[-1][0].fed.element_a, one.fed.element_a):
            groups[-1].append(one)
        else:
            groups.append([one])
    return [
        _Row(group[0].fed, math.fsum(one.lift_mm for one in group) / len(group)) for group in groups
    ]


def _opening(rows: Sequence[_Row], at: int, bath_c: float, setup: HandSetup) -> Opening:
    """Enclose the drive between the chord of a curve that bends up and its next secant."""
    below, first = rows[at - 1], rows[at]
    first_w = first.fed.drive_w
    over_mm = first.lift_mm - setup.threshold_mm
    chord = (first.lift_mm - below.lift_mm) / (first_w - below.fed.drive_w)
    least_w, most_w = first_w - over_mm / chord, first_w
    if first.fed.by_power:
        most_w -= over_mm / STEEPEST_MM_PER_W
    if at + 1 < len(rows) and rows[at + 1].lift_mm <= BENDS_UP_MM:
        after = rows[at + 1]
        secant = (after.lift_mm - first.lift_mm) / (after.fed.drive_w - first_w)
        most_w = min(most_w, first_w - over_mm / max(secant, chord))
    value_w = (least_w + max(most_w, least_w)) / 2
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
        Contribution("power", first.fed.drive_u_w, value_w / max(first_w, 0.01)),
    ]
    shared = [
        Contribution(name, u_k, 1 / NOMINAL_K_PER_W) for name, u_k in temperature_parts(setup)
    ]
    at_bath = {"bath_c": round(bath_c, 2), "lift_mm": setup.threshold_mm}
    ohm = first_w / first.fed.element_a**2
    per_w = 0.5 / math.sqrt(max(value_w, 0.05) * ohm)
    in_amps = [
        Contribution(
            c.name, c.standard_uncertainty, c.sensitivity * per_w, c.degrees_of_freedom, note=c.note
        )
        for c in (*own, *shared)
    ]
    return Opening(
        known(value_w, [*own, *shared], "zero", at_bath)
        if first.fed.by_power
        else unknown(POWER_UNKNOWN, at_bath),
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


def _found(points: Sequence[HandPoint], setup: HandSetup) -> list[_Steady]:
    """Return each stretch of one current at one temperature with its lift, or why it has none.

    Currents are compared by their powers where all are known and rise with them, by their squares
    otherwise.
    """
    found = _stretches(points, setup)
    upward = sorted((one.fed for one in found), key=lambda one: one.element_a)
    rising = all(
        before.drive_w < after.drive_w or same_current(before.element_a, after.element_a)
        for before, after in pairwise(upward)
    )
    if rising and all(one.power_w is not None for one in upward):
        return found
    return [one._replace(fed=by_current(one.fed, setup.heater)) for one in found]


def _stretches(points: Sequence[HandPoint], setup: HandSetup) -> list[_Steady]:
    found: list[_Steady] = []
    parts = parts_of(points)
    zero = shut_zero(parts, setup)
    zero_mm = math.nan if isinstance(zero, str) else zero
    greatest_a, shut = 0.0, False
    for part in parts:
        given = fed(part, setup.heater)
        lifts = [p._replace(lift_mm=p.lift_mm - zero_mm) for p in part if not _unread(p)]
        upward = given.element_a > greatest_a
        if any(p.lift_mm < setup.threshold_mm for p in lifts):
            shut = True
            greatest_a = 0.0 if given.element_a <= OFF_A else greatest_a
        greatest_a = max(greatest_a, given.element_a)
        if not lifts:
            continue
        reason = zero if isinstance(zero, str) else None
        bath_c = math.fsum(p.bath_c for p in lifts[-2:]) / len(lifts[-2:])
        if given.element_a <= OFF_A:
            bath_c = lifts[-1].bath_c
            reason = reason or _why_not_idle(lifts[-1], setup, part is not parts[0])
        elif max(p.bath_c for p in part) - min(p.bath_c for p in part) > ONE_TEMPERATURE_K:
            continue
        else:
            reason = reason or _why_not(lifts, setup, upward, shut)
        found.append(_Steady(given, bath_c, max(lifts[-1].lift_mm, 0.0), reason))
    return found


def _unread(point: HandPoint) -> bool:
    return math.isnan(point.lift_mm)


def _why_not_idle(last: HandPoint, setup: HandSetup, came_down: bool) -> str | None:
    if last.lift_mm >= setup.threshold_mm and came_down:
        return "open without current after a current: the wax is on its falling branch"
    return _below_shut(last, setup)


def _below_shut(last: HandPoint, setup: HandSetup) -> str | None:
    """Return why a lift cannot be one: no valve is below its seat."""
    if last.lift_mm >= -tool_mm(setup):
        return None
    return (
        f"read {-last.lift_mm:.2f} mm below the shut valve: mistyped, or at another spot; read it"
        " again where the shut valve was read"
    )


def parts_of(points: Sequence[HandPoint]) -> list[list[HandPoint]]:
    """Return the runs of readings under one current."""
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
        return "the valve was not seen shut before it: read the shut valve first, heater off"
    if not upward:
        return "set down from a higher current: the wax is on its falling branch; only upwards"
    return _below_shut(lifts[-1], setup) or unsteady(lifts, setup)


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
    at = {"element_a": round(one.fed.element_a, 4), "bath_c": round(one.bath_c, 2)}
    if one.reason is not None:
        steady = unknown(one.reason, at)
    else:
        steady = known(one.lift_mm, _lift_parts(one, found, points, setup), "zero", at)
    return HandStep(one.fed.element_a, one.fed.power_w, one.fed.power_u_w, one.bath_c, steady)


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
        Contribution("power", one.fed.drive_u_w, per_w),
    ]


def _mm_per_w(one: _Steady, found: Sequence[_Steady]) -> float:
    """Return the steeper of the slopes to the next lower and the next higher current.

    An opening curve bends one way, so its slope at a current lies between the two. Without a higher
    current it may be steeper than to the lower one: then it counts as no flatter than usual.
    """
    steady = [other for other in found if other.reason is None]
    apart = [o for o in steady if not same_current(o.fed.element_a, one.fed.element_a)]
    lower = [o for o in apart if o.fed.drive_w < one.fed.drive_w]
    higher = [o for o in apart if o.fed.drive_w > one.fed.drive_w]
    slopes = [] if higher else [USUAL_MM_PER_W]
    for beside in (lower, higher):
        if beside:
            near = min(beside, key=lambda o: abs(o.fed.drive_w - one.fed.drive_w))
            over_w = abs(near.fed.drive_w - one.fed.drive_w)
            slopes.append(abs(near.lift_mm - one.lift_mm) / over_w)
    return min(max(slopes), STEEPEST_MM_PER_W)
