"""A unit's rising curve as a result on record states it: by the rig, under power, or by hand."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from proofbath.curve.content import ResultContent
from proofbath.curve.drive import NOMINAL_K_PER_W
from proofbath.proof.lift_curve import OpeningCurve
from proofbath.quantity.levels import OPENING
from proofbath.quantity.quantity import Quantity, is_quantity
from proofbath.run.unit_type import UnitType
from proofbath.workshop.measured_values import LIFT, SHARED_BY_RUNS

UNPOWERED = "unpowered_start_to_open_c"
_PLAIN = ("start_to_open_c", OPENING, "full_open_c")
_AT_CURRENT = ("start_at_current_c", OPENING, "full_open_at_current_c")
_OF_THE_GAUGE = ("gauge", "gauge scale", "lift zero")
GAUGE_U_MM, HAND_U_MM = 0.01, 0.05
"""Of a lift whose budget states nothing of its gauge, on the rig and by hand (from memory)."""
UNPOWERED_RELATIVE_U = 0.3
"""Of the shift by power where no unpowered start was found (from memory)."""
AT_STOP_MM = 0.1


class _Point(NamedTuple):
    lift_mm: float
    quantity: Quantity


def opening_of(
    content: ResultContent, unit_type: UnitType, shared: tuple[str, ...] = SHARED_BY_RUNS
) -> OpeningCurve | str:
    """Return the rise that a result of the rig states, or in words why it states none.

    Without a rise in the bath alone it is the rise at the lowest current, else the unpowered start.
    `shared` names what cancels against the run it is compared with.
    """
    rise = _in_the_bath(content, unit_type, shared)
    if rise is None:
        rise = _under_power(content, unit_type, shared)
    if rise is None:
        return why_none(content)
    play = content.curve.quantities.get("hysteresis_k")
    if play is not None and play.value is not None:
        u_k = play.standard_uncertainty or 0.3
        rise = rise._replace(hysteresis_k=play.value, u_hysteresis_k=u_k)
    return rise


def opening_by_hand(content: Mapping[str, Any], unit_type: UnitType) -> OpeningCurve | str:
    """Return the rise that a hand measurement on record states, or in words why it states none."""
    found = [_read(content, name) for name in ("start_to_open_c", UNPOWERED)]
    found += [_one(part, OPENING) for part in content.get(OPENING, ())]
    points = _points([one for one in found if one is not None])
    if not points:
        start = _read(content, "start_to_open_c")
        return (start.reason if start else None) or "the hand measurement states no start-to-open"
    return _rise(points, unit_type, (), HAND_U_MM)


def why_none(content: ResultContent) -> str:
    """Return why a result states no rise: that it was open already goes before all else."""
    stood = [one.text for one in content.curve.warnings if one.code == "open_at_first_bath"]
    starts = [content.curve.quantities.get(name) for name in ("start_to_open_c", UNPOWERED)]
    reasons = [one.reason for one in starts if one is not None and one.reason]
    return (stood + reasons + ["the result states no start-to-open"])[0]


def full_lift_of(content: ResultContent) -> tuple[float, float] | None:
    """Return the lift at the top in mm and the bath there in °C, None where it was not read."""
    lift = content.curve.quantities.get(LIFT)
    if lift is None or lift.value is None or lift.bath_c is None:
        return None
    return lift.value, lift.bath_c


def with_top(opening: OpeningCurve, lift_mm: float, bath_c: float) -> OpeningCurve:
    """Return a rise with the lift read at the top of the bath as its last point."""
    if lift_mm <= opening.lift_mm[-1] or bath_c <= opening.bath_c[-1]:
        return opening
    return opening._replace(
        bath_c=(*opening.bath_c, bath_c),
        lift_mm=(*opening.lift_mm, lift_mm),
        u_mm=(*opening.u_mm, opening.u_mm[-1]),
    )


def _in_the_bath(
    content: ResultContent, unit_type: UnitType, shared: tuple[str, ...]
) -> OpeningCurve | None:
    points = _points(one for one in _named(content, _PLAIN) if not one.element_a)
    return _rise(points, unit_type, shared, GAUGE_U_MM) if points else None


def _under_power(
    content: ResultContent, unit_type: UnitType, shared: tuple[str, ...]
) -> OpeningCurve | None:
    """Return the rise at the lowest current, which differs least from the unpowered one."""
    start = content.curve.quantities.get(UNPOWERED)
    known = start if start is not None and start.value is not None else None
    powered = [one for one in _named(content, _AT_CURRENT) if one.element_a]
    currents = sorted({one.element_a or 0.0 for one in powered if one.value is not None})
    for current in currents:
        points = _points(one for one in powered if one.element_a == current)
        watts = points[0].quantity.at.get("power_w") if points else None
        if watts is None:
            continue
        rise = _rise(points, unit_type, shared, GAUGE_U_MM)._replace(power_w=watts)
        if known is None or known.value is None:
            by_k = (unit_type.element_k_per_w or NOMINAL_K_PER_W) * watts
            u_k = math.hypot(rise.u_bath_k, UNPOWERED_RELATIVE_U * by_k)
        else:
            at_start = points[0].quantity.value
            if at_start is None or points[0].lift_mm != known.threshold_mm:
                continue
            by_k, u_k = known.value - at_start, max(rise.u_bath_k, known.u_without(shared))
        return rise._replace(unpowered_k=by_k, u_bath_k=u_k)
    if known is None:
        return None
    return _rise(_points([known]), unit_type, shared, GAUGE_U_MM)


def _named(content: ResultContent, names: tuple[str, ...]) -> list[Quantity]:
    return [one for one in content.each() if one.name in names and one.estimator != "line"]


def _points(found: Iterable[Quantity]) -> list[_Point]:
    """Return what is known of them as lifts in rising order, each lift once."""
    points: dict[float, _Point] = {}
    for one in found:
        if one.value is not None and one.threshold_mm is not None:
            points.setdefault(one.threshold_mm, _Point(one.threshold_mm, one))
    rising: list[_Point] = []
    for point in (points[lift] for lift in sorted(points)):
        before = rising[-1].quantity.value if rising else None
        if before is None or (point.quantity.value or 0.0) > before:
            rising.append(point)
    return rising


def _rise(
    points: list[_Point], unit_type: UnitType, shared: tuple[str, ...], usual_u_mm: float
) -> OpeningCurve:
    first = points[0].quantity
    values = [point.quantity.value for point in points]
    stop = unit_type.greatest_lift_mm
    return OpeningCurve(
        tuple(value for value in values if value is not None),
        tuple(point.lift_mm for point in points),
        tuple(_u_mm(point.quantity, shared) or usual_u_mm for point in points),
        max(first.u_without((*shared, *_OF_THE_GAUGE)), 0.02),
        stop_mm=stop,
    )


def _u_mm(quantity: Quantity, shared: tuple[str, ...]) -> float:
    """Return what the gauge alone does to the lift of a point, in mm."""
    return math.hypot(
        *(
            part.standard_uncertainty or 0.0
            for part in quantity.contributions
            if part.name in _OF_THE_GAUGE and part.name not in shared
        )
    )


def _read(content: Mapping[str, Any], name: str) -> Quantity | None:
    return _one(content.get(name), name)


def _one(told: object, name: str) -> Quantity | None:
    if isinstance(told, Mapping) and is_quantity(told):
        return Quantity.from_json(told, name)
    return None
