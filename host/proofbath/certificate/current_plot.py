"""A heated unit's two pictures laid out in numbers for the page, from the signed content."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from proofbath.certificate.evidence import AtCurrents, LiftAfter, Opened, OpeningBand
from proofbath.certificate.plot import STEPS, axis_of, share_of, ticks_of
from proofbath.certificate.words import decimals_of, fixed

TIME_STEPS = (10.0, 20.0, 60.0, 120.0, 300.0)
CURRENT_STEPS = (0.1, 0.2, *STEPS)
ROOM = 1.05
"""So much room is left beyond the last current."""

Axis = tuple[float, ...]


def currents_view(shown: AtCurrents | None) -> dict[str, Any]:
    """Return both pictures as shares of their sides; None for one with nothing to show."""
    return {
        "lifts": _lifts(shown.lifts) if shown and shown.lifts else None,
        "openings": _openings(shown.openings, shown.band) if shown and shown.openings else None,
    }


def _lifts(lifts: Sequence[LiftAfter]) -> dict[str, Any]:
    across = axis_of([0.0, *(s for lift in lifts for s in lift.since_s)], TIME_STEPS)
    up = axis_of([0.0, *(mm for lift in lifts for mm in lift.lift_mm)])
    return {
        "across": ticks_of(across),
        "up": ticks_of(up),
        "lines": [
            {
                "points": _points(lift.since_s, lift.lift_mm, across, up),
                "text": f"{fixed(lift.element_a, 2)} A in {fixed(lift.bath_c, 1)} °C",
            }
            for lift in lifts
        ],
    }


def _openings(openings: Sequence[Opened], band: OpeningBand | None) -> dict[str, Any]:
    lows = [at.bath_c - at.expanded_uncertainty for at in openings]
    highs = [at.bath_c + at.expanded_uncertainty for at in openings]
    across = axis_of([0.0, *(ROOM * at.element_a for at in openings)], CURRENT_STEPS)
    up = axis_of([*lows, *highs])
    return {
        "across": ticks_of(across),
        "up": ticks_of(up),
        "band": _band(band, across, up),
        "marks": [
            {
                "met": at.met,
                "x": share_of(at.element_a, across),
                "y": share_of(at.bath_c, up),
                "low": share_of(low, up),
                "high": share_of(high, up),
            }
            for at, low, high in zip(openings, lows, highs, strict=True)
        ],
        "keys": [{"met": met, "text": _key(met, openings)} for met in _mets(openings)],
    }


def _mets(openings: Sequence[Opened]) -> list[str]:
    return list(dict.fromkeys(at.met for at in openings))


def _key(met: str, openings: Sequence[Opened]) -> str:
    """Name a kind of opening; the one without power with its value."""
    of_it = [at for at in openings if at.met == met]
    if met == "while the power rose":
        return f"{met}: hangs behind, ± U"
    if of_it[0].element_a > 0.0:
        return f"{met}, the bath rising, ± U"
    u_k = of_it[0].expanded_uncertainty
    decimals = decimals_of(u_k)
    return f"{met}: {fixed(of_it[0].bath_c, decimals)} ± {fixed(u_k, decimals)} °C"


def _band(band: OpeningBand | None, across: Axis, up: Axis) -> dict[str, Any] | None:
    if band is None:
        return None
    low = [c - half for c, half in zip(band.bath_c, band.half_k, strict=True)]
    high = [c + half for c, half in zip(band.bath_c, band.half_k, strict=True)]
    return {
        "middle": _points(band.element_a, band.bath_c, across, up),
        "edge": [
            *_points(band.element_a, low, across, up),
            *reversed(_points(band.element_a, high, across, up)),
        ],
    }


def _points(xs: Sequence[float], ys: Sequence[float], across: Axis, up: Axis) -> list[list[float]]:
    return [[share_of(x, across), share_of(y, up)] for x, y in zip(xs, ys, strict=True)]
