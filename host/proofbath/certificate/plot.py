"""The opening curve for a certificate: thinned from a record, and laid out in numbers for the page.

The page draws it from the signed content, in its own type and without colour.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any, TypeGuard

import numpy as np

from proofbath.certificate.evidence import Branch
from proofbath.certificate.results import Result
from proofbath.certificate.words import fixed, plain
from proofbath.curve.blank import Blank
from proofbath.curve.branches import cycles_of
from proofbath.curve.cycles import features_of_cycles
from proofbath.curve.drive import element_power_w
from proofbath.curve.features import CycleFeatures, Wanted
from proofbath.curve.opened import opened_of
from proofbath.curve.record import CurveRecord, Floats
from proofbath.curve.samples import Samples, reduce
from proofbath.curve.shut import driven_features, shut_of
from proofbath.quantity.quantity import Quantity

POINTS = 160
OPEN_MM = 0.3
HEATS_W = 0.5
BEFORE_HELD_S = 2.0
STARTS = ("start_to_open_c", "unpowered_start_to_open_c")
CLOSED_SHOWN_K = 5.0
KEY_WIDTH, KEY_FOOT = 0.38, 0.60
"""Sides of the key at the upper left, as shares of the drawing's."""
STEPS = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0)
MOST_TICKS = 8


def curve_of(
    record: CurveRecord, threshold_mm: float, blank: Blank | None = None
) -> tuple[Branch, ...]:
    """Return the passes of a record's opening curve from 5 K below it, some 160 points each.

    What a solid bar showed at the same station is taken off.
    """
    samples, _ = reduce(record)
    parts = cycles_of(samples)
    if blank is not None:
        samples = blank.taken_off(samples, parts)
    cycles = features_of_cycles(samples, parts, Wanted(threshold_mm))
    return _branches(
        (rising, part, part.lift_mm - _shut_mm(cycle, part.bath_c))
        for cycle in cycles
        for rising, part in ((True, cycle.rising), (False, cycle.falling))
    )


def powered_curve_of(
    record: CurveRecord,
    threshold_mm: float,
    shift_k_per_w: float,
    lead_ohm: float = 0.0,
    held_s: Sequence[tuple[float, float]] = (),
) -> tuple[Branch, ...]:
    """Return the passes of a unit that its heater opened, against bath plus the heater's warmth.

    With the unit's own shift (negative), its passes at all baths lie on one curve that begins where
    it would open unpowered.  Times at which a set current was held at one bath, `held_s`, are left
    out: there the lift follows the time, not the warmth.  Empty where no current flowed or the
    valve never closed.
    """
    samples, _ = reduce(record)
    power_w = element_power_w(samples, lead_ohm)
    if power_w is None:
        return ()
    warmed = replace(samples, bath_c=samples.bath_c - shift_k_per_w * power_w)
    opened = opened_of(samples, cycles_of(samples), record.cold)
    shut = shut_of(samples, warmed, cycles_of(warmed), threshold_mm, opened)
    if isinstance(shut, str):
        return ()
    return _branches(
        (rising, *_without(part, held_s))
        for cycle in driven_features(shut.zeroed, shut.zero)
        if power_w[cycle.cycle.first : cycle.cycle.end].max() > HEATS_W
        for rising, part in ((True, cycle.rising), (False, cycle.falling))
    )


def _without(part: Samples, held_s: Sequence[tuple[float, float]]) -> tuple[Samples, Floats]:
    """Return a pass without stretches of time, parted where they were, and its lift."""
    keep, run = np.ones(len(part), dtype=bool), part.run.copy()
    for from_s, until_s in held_s:
        keep &= (part.t_s < from_s - BEFORE_HELD_S) | (part.t_s > until_s)
        run = run + (part.t_s > until_s) * (len(part) + 1.0)
    left = replace(
        part,
        t_s=part.t_s[keep],
        bath_c=part.bath_c[keep],
        lift_mm=part.lift_mm[keep],
        run=run[keep],
        element_a=None,
        element_v=None,
    )
    return left, left.lift_mm


def _branches(every: Iterable[tuple[bool, Samples, Floats]]) -> tuple[Branch, ...]:
    """Return passes (rising, samples, lift) thinned, from 5 K below the first opening."""
    passes = [one for one in every if len(one[1]) > 1]
    opened_c = [
        float(part.bath_c[lift > OPEN_MM].min(initial=math.inf)) for _, part, lift in passes
    ]
    least_c = min([c for c in opened_c if c < math.inf], default=-math.inf) - CLOSED_SHOWN_K
    return tuple(
        branch
        for rising, part, lift_mm in passes
        for branch in _thinned(rising, part, lift_mm, least_c)
    )


def _shut_mm(cycle: CycleFeatures, bath_c: Floats) -> Floats | float:
    return cycle.zero.reading_mm(bath_c) if cycle.zero else 0.0


def _thinned(rising: bool, part: Samples, lift_mm: Floats, least_c: float) -> list[Branch]:
    """Return a pass as one branch, or several where samples are missing in between."""
    shown = part.bath_c >= least_c
    every = max(1, int(shown.sum()) // POINTS)
    found = []
    for run in np.unique(part.run[shown]):
        here = np.flatnonzero(shown & (part.run == run))[::every]
        if len(here) > 1:
            bath_c = np.round(part.bath_c[here], 3).tolist()
            lifts = np.round(lift_mm[here], 4).tolist()
            found.append(Branch(rising=rising, bath_c=tuple(bath_c), lift_mm=tuple(lifts)))
    return found


def plot_view(curve: Sequence[Branch], results: Sequence[Result]) -> dict[str, Any] | None:
    """Return branches, ticks, threshold and start-to-open as shares of the drawing's sides."""
    if not curve:
        return None
    across = axis_of([c for branch in curve for c in branch.bath_c])
    up = axis_of([0.0, *(mm for branch in curve for mm in branch.lift_mm)])
    start = next(filter(_is_start, results), None)
    branches = [_drawn(branch, across, up) for branch in curve]
    points = (point for branch in branches for point in branch["points"])
    return {
        "across": ticks_of(across),
        "up": ticks_of(up),
        "branches": branches,
        "key_at_foot": any(x < KEY_WIDTH and y > KEY_FOOT for x, y in points),
        "start": _start(start.stated, across, up) if start else None,
    }


def overlay_view(
    curves: Sequence[Sequence[Branch]], starts: Sequence[Result | None]
) -> dict[str, Any] | None:
    """Return several curves on common axes, each with its start-to-open; None where one is empty.

    A start is drawn where it is a temperature at zero rate.
    """
    if not all(curves):
        return None
    everything = [branch for curve in curves for branch in curve]
    across = axis_of([c for branch in everything for c in branch.bath_c])
    up = axis_of([0.0, *(mm for branch in everything for mm in branch.lift_mm)])
    return {
        "across": ticks_of(across),
        "up": ticks_of(up),
        "curves": [
            {
                "branches": [_drawn(branch, across, up) for branch in curve],
                "start": _start(start.stated, across, up) if _is_start(start) else None,
            }
            for curve, start in zip(curves, starts, strict=True)
        ],
    }


def _is_start(result: Result | None) -> TypeGuard[Result]:
    """Whether a result is a start-to-open that the opening curve can show."""
    if result is None or result.stated.value is None or result.stated.name not in STARTS:
        return False
    return result.stated.rate == "zero"


def last_cycle(curve: Sequence[Branch], points: int) -> tuple[Branch, ...]:
    """Return the last rising pass and what follows it, thinned to some `points` each."""
    rises = [number for number, branch in enumerate(curve) if branch.rising]
    kept = curve[rises[-1] :] if rises else ()
    return tuple(_thinner(branch, points) for branch in kept)


def _thinner(branch: Branch, points: int) -> Branch:
    every = max(1, len(branch.bath_c) // points)
    return Branch(
        rising=branch.rising, bath_c=branch.bath_c[::every], lift_mm=branch.lift_mm[::every]
    )


def _drawn(branch: Branch, across: tuple[float, ...], up: tuple[float, ...]) -> dict[str, Any]:
    points = zip(branch.bath_c, branch.lift_mm, strict=True)
    return {
        "rising": branch.rising,
        "points": [[share_of(c, across), share_of(mm, up)] for c, mm in points],
    }


def _start(start: Quantity, across: tuple[float, ...], up: tuple[float, ...]) -> dict[str, Any]:
    value, big_u = start.value or 0.0, start.expanded_uncertainty or 0.0
    threshold_mm = start.threshold_mm or 0.0
    return {
        "from": share_of(value - big_u, across),
        "at": share_of(value, across),
        "to": share_of(value + big_u, across),
        "threshold": share_of(threshold_mm, up),
        "threshold_mm": plain(threshold_mm),
    }


def axis_of(values: Sequence[float], steps: Sequence[float] = STEPS) -> tuple[float, ...]:
    """Return round numbers from below the least value to above the greatest."""
    low, high = min(values), max(values)
    step = next((s for s in steps if (high - low) / s <= MOST_TICKS), (high - low) / MOST_TICKS)
    first, last = math.floor(low / step + 0.02), math.ceil(high / step)
    return tuple(step * number for number in range(first, max(last, first + 1) + 1))


def ticks_of(axis: tuple[float, ...]) -> list[dict[str, Any]]:
    """Return an axis' lines, each with its place as a share and its number in words."""
    decimals = 0 if axis[1] - axis[0] >= 1 else 1
    return [{"at": share_of(value, axis), "text": fixed(value, decimals)} for value in axis]


def share_of(value: float, axis: tuple[float, ...]) -> float:
    """Return where on an axis a value lies, 0 at its beginning and 1 at its end."""
    return round((value - axis[0]) / (axis[-1] - axis[0]), 5)
