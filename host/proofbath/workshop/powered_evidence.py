"""What a certificate shows of a heated unit at set currents, from its curve and its result."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from proofbath.certificate.evidence import AtCurrents, LiftAfter, Opened, OpeningBand
from proofbath.curve.current_shapes import LiftLine, Openings, lift_lines, openings_of
from proofbath.curve.film_band import OpeningAt
from proofbath.curve.record import CurveRecord, Floats
from proofbath.curve.result import CurveResult
from proofbath.curve.samples import reduce

POINTS = 150
Met = Literal[
    "at a set current",
    "while the power rose",
    "without power, measured",
    "without power, extrapolated",
]


def at_currents_of(record: CurveRecord, result: CurveResult) -> AtCurrents | None:
    """Return lift over time and openings over current; None where no current opened the unit."""
    samples, _ = reduce(record)
    lines, shown = lift_lines(samples, result), openings_of(result)
    if not lines and not shown.has_power:
        return None
    return AtCurrents(
        lifts=tuple(map(_lift, lines)),
        openings=_openings(shown) if shown.has_power else (),
        band=_band(shown),
    )


def _lift(line: LiftLine) -> LiftAfter:
    on = line.since_s >= 0.0
    every = max(1, int(on.sum()) // POINTS)
    return LiftAfter(
        element_a=round(line.element_a, 4),
        bath_c=round(line.bath_c, 2),
        since_s=_rounded(line.since_s[on][::every], 1),
        lift_mm=_rounded(line.lift_mm[on][::every], 4),
    )


def _openings(shown: Openings) -> tuple[Opened, ...]:
    none = () if shown.unpowered is None else (shown.unpowered,)
    how: Met = "without power, extrapolated" if shown.reckoned else "without power, measured"
    return (
        *_opened("at a set current", shown.at_currents),
        *_opened("while the power rose", shown.ramped),
        *_opened(how, none),
    )


def _opened(met: Met, openings: Sequence[OpeningAt]) -> list[Opened]:
    return [
        Opened(
            met=met,
            element_a=round(at.element_a, 4),
            power_w=round(at.power_w, 3),
            bath_c=round(at.bath_c, 3),
            expanded_uncertainty=round(at.u_k, 4),
        )
        for at in openings
    ]


def _band(shown: Openings) -> OpeningBand | None:
    if shown.band is None:
        return None
    return OpeningBand(
        element_a=_rounded(shown.amps(shown.band.power_w), 4),
        bath_c=_rounded(shown.band.bath_c, 3),
        half_k=_rounded(shown.band.half_k, 4),
    )


def _rounded(values: Floats, decimals: int) -> tuple[float, ...]:
    return tuple(round(float(value), decimals) + 0.0 for value in values)
