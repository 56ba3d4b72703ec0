"""The zero of a hand measurement's lifts: that of the shut valve, wherever in the record it stands.

No valve is below its seat. Shut is the lowest lift that settled: read in the coldest water without
current, or unmoved while the water grew warmer by 2 K.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from statistics import median

from proofbath.curve.hand_instruments import HandSetup
from proofbath.curve.hand_power import OFF_A
from proofbath.curve.hand_record import HandPoint
from proofbath.curve.hand_start import CLOSED_SPAN_K, agree_mm

COLDEST_K = 1.5
ROUNDS = 3
"""From the lowest of scattered readings of the shut valve to their middle."""
NO_SHUT = "no lift of the shut valve: read the shut valve first, cold, heater off"


def shut_zero(parts: Sequence[Sequence[HandPoint]], setup: HandSetup) -> float | str:
    """Return what the lift tool reads on the shut valve, or why the readings do not tell it.

    A part is a run of readings under one current.
    """
    within_mm, apart_mm = agree_mm(setup), tool_mm(setup)
    read = [[p for p in part if not math.isnan(p.lift_mm)] for part in parts]
    idle = [p for part in read for p in part if p.element_a <= OFF_A]
    powered = [part for part in read if part and part[0].element_a > OFF_A]
    still_idle = _still(idle, within_mm)
    still = [*still_idle, *(low for part in powered for low in _still(part, within_mm))]
    if still_idle and min(still) < min(p.lift_mm for p in idle) - apart_mm:
        return (
            f"the shut valve reads {still_idle[0]:g} mm without current and {min(still):g} mm under"
            " it: was the tool set anew? keep one zero and one spot in a file"
        )
    cold = [p for p in idle if p.bath_c <= min(q.bath_c for q in idle) + COLDEST_K]
    lone = min(cold, key=lambda p: p.lift_mm, default=None)
    if lone and still and lone.lift_mm < min(still) - apart_mm and not _settled(cold, within_mm):
        return (
            f"{lone.lift_mm:g} mm at {lone.bath_c:g} °C lies {min(still) - lone.lift_mm:.2f} mm"
            " below all later readings: take it back if it was mistyped, else read the shut valve"
            " there twice"
        )
    levels = [*still, *([lone.lift_mm] if lone else []), *_settled(idle, within_mm)]
    if not levels:
        return NO_SHUT
    zero_mm = min(levels)
    lowest = min(_settled([p for part in read for p in part], within_mm), default=zero_mm)
    if lowest < zero_mm - apart_mm:
        return (
            f"the lift under current went {zero_mm - lowest:.2f} mm below the least without: the"
            " valve was not shut there; read it cold, heater off"
        )
    shut = [p.lift_mm for p in idle]
    shut += [p.lift_mm for part in powered if _still(part, within_mm) for p in part]
    for _ in range(ROUNDS):
        near = [mm for mm in shut if abs(mm - zero_mm) <= within_mm]
        zero_mm = median(near) if near else zero_mm
    return zero_mm


def tool_mm(setup: HandSetup) -> float:
    """Return by how much two readings of one lift differ at most by the tool: four deviations."""
    by_tool_mm = 2 * math.sqrt(2) * setup.lift_tool.expanded_u_mm + setup.lift_tool.resolution_mm
    return max(agree_mm(setup), by_tool_mm)


def _settled(points: Sequence[HandPoint], within_mm: float) -> list[float]:
    """Return the lowest lift that two readings agree on, in a list of one or none."""
    lifts = sorted(p.lift_mm for p in points)
    return [low for low, high in pairwise(lifts) if high - low <= within_mm][:1]


def _still(points: Sequence[HandPoint], within_mm: float) -> list[float]:
    """Return the lowest lift that stayed while the bath grew warmer, in a list of one or none."""
    for low in sorted(p.lift_mm for p in points):
        baths = [p.bath_c for p in points if low <= p.lift_mm <= low + within_mm]
        if max(baths) - min(baths) >= CLOSED_SPAN_K:
            return [low]
    return []
