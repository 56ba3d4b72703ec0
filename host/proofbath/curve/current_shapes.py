"""What a heated unit's two pictures show, in numbers: lift over time, openings over current."""

from __future__ import annotations

import math
from typing import Literal, NamedTuple

import numpy as np

from proofbath.curve.current_rows import current_rows
from proofbath.curve.film_band import Band, OpeningAt, band_of
from proofbath.curve.record import Floats
from proofbath.curve.result import CurveResult, HeaterStep
from proofbath.curve.samples import Samples

BEFORE_S, LONGEST_S = 20.0, 1200.0
LAST_S = 30.0
LEAST_RAMP_W_PER_MIN = 0.1
"""Slower than that a power did not rise: its element only warmed."""
BAND_POINTS = 61


class LiftLine(NamedTuple):
    """Lift after one current came on in one bath; `steady` and its U where it settled."""

    element_a: float
    bath_c: float
    since_s: Floats
    lift_mm: Floats
    steady_mm: float | None
    steady_u_mm: float | None


class Openings(NamedTuple):
    """Where a unit opens at which current, with the band over power where there is one.

    `ramped` were read while the power rose and hang behind it; `unpowered` is the fit's over all,
    `reckoned` where no rise without current met it.
    """

    at_currents: tuple[OpeningAt, ...]
    ramped: tuple[OpeningAt, ...]
    unpowered: OpeningAt | None
    reckoned: bool
    ohm: float
    band: Band | None

    @property
    def has_power(self) -> bool:
        """Tell whether any opening was met under power."""
        return bool(self.at_currents or self.ramped)

    def amps(self, power_w: Floats) -> Floats:
        """Return the currents of powers, by the resistance met at the openings."""
        return np.sqrt(power_w / self.ohm)


Shape = Literal["lifts", "openings"]


def shapes_of(result: CurveResult) -> tuple[Shape, ...]:
    """Return which of the two pictures a result has."""
    lifts: tuple[Shape, ...] = ("lifts",) if result.heater_steps else ()
    under = ("start_at_current_c", "start_under_power_c")
    met = any(one.value is not None for name in under for one in result.series.get(name, ()))
    return (*lifts, "openings") if met else lifts


def lift_lines(samples: Samples, result: CurveResult) -> list[LiftLine]:
    """Return a line for each current that was held at one bath."""
    return [_line(samples, step) for step in result.heater_steps]


def _line(samples: Samples, step: HeaterStep) -> LiftLine:
    """Set the gauge so that the end is the steady lift, or else the beginning is 0."""
    shown = samples.t_s >= step.t_s - BEFORE_S
    shown &= samples.t_s <= min(step.until_s, step.t_s + LONGEST_S)
    since_s, lift_mm = samples.t_s[shown] - step.t_s, samples.lift_mm[shown]
    steady = step.steady_lift
    if steady.value is not None and steady.expanded_uncertainty is not None:
        last = (samples.t_s >= step.until_s - LAST_S) & (samples.t_s <= step.until_s)
        lift_mm = lift_mm - float(samples.lift_mm[last].mean()) + steady.value
    else:
        lift_mm = lift_mm - float(np.median(lift_mm[:10]))
    return LiftLine(
        step.settled.element_a,
        step.bath_c,
        since_s,
        lift_mm,
        steady.value,
        steady.expanded_uncertainty,
    )


def openings_of(result: CurveResult) -> Openings:
    """Return a result's openings over current."""
    rows = current_rows(result)
    known = [
        (
            row,
            OpeningAt(row.power_w, row.element_a, row.opens.value, row.opens.expanded_uncertainty),
        )
        for row in rows
        if row.opens.value is not None and row.opens.expanded_uncertainty is not None
    ]
    unpowered = [(row, at) for row, at in known if row.element_a == 0.0]
    at_currents = tuple(at for row, at in known if row.element_a > 0.0)
    ohm = _ohm(result, at_currents)
    ramped = _ramped(result, ohm)
    met = [*at_currents, *ramped, *(at for row, at in unpowered if not row.extrapolated)]
    none, drawn = unpowered[0][1] if unpowered else None, result.unpowered_start_to_open_c
    if none and drawn.value is not None and drawn.expanded_uncertainty is not None:
        none = none._replace(bath_c=drawn.value, u_k=drawn.expanded_uncertainty)
    reckoned = any(row.extrapolated for row, _ in unpowered)
    return Openings(at_currents, ramped, none, reckoned, ohm, _band(met))


def _ramped(result: CurveResult, ohm: float) -> tuple[OpeningAt, ...]:
    return tuple(
        OpeningAt(
            one.at["power_w"],
            math.sqrt(one.at["power_w"] / ohm),
            one.value,
            one.expanded_uncertainty,
            one.at["power_rate_w_per_min"] / 60.0,
        )
        for one in result.series.get("start_under_power_c", ())
        if one.value is not None
        and one.expanded_uncertainty is not None
        and one.at["power_rate_w_per_min"] >= LEAST_RAMP_W_PER_MIN
    )


def _ohm(result: CurveResult, at_currents: tuple[OpeningAt, ...]) -> float:
    if at_currents:
        return float(np.mean([at.power_w / at.element_a**2 for at in at_currents]))
    return result.quantities["heater_ohm"].value or 1.0


def _band(met: list[OpeningAt]) -> Band | None:
    """Return the band from no power to the greatest met; an unpowered start only reckoned from
    the others is none of them.
    """
    most_w = max((at.power_w for at in met), default=0.0)
    if len({at.power_w for at in met}) < 2:
        return None
    return band_of(met, most_w * np.linspace(0.0, 1.0, BAND_POINTS) ** 2)
