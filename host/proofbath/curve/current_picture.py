"""Two pictures of a unit at set currents: lift over time, and opening over power and current."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, NamedTuple

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from proofbath.curve.current_rows import CurrentRow, current_rows
from proofbath.curve.fitting import fit_linear
from proofbath.curve.picture import BAND, GUIDE, LOOKS, STYLE, Form, as_bytes
from proofbath.curve.record import CurveRecord
from proofbath.curve.result import CurveResult, HeaterStep, Quantity
from proofbath.curve.samples import Samples, reduce

BEFORE_S, LONGEST_S = 20.0, 1200.0


def current_pictures(
    record: CurveRecord, result: CurveResult, form: Form = "svg"
) -> dict[str, bytes]:
    """Return those of the two pictures that a unit's measurement bears: "lifts", "openings"."""
    pictures = {}
    if result.heater_steps:
        pictures["lifts"] = lifts_picture(record, result, form)
    if any(point.element_a > 0.0 for point in points_of(current_rows(result))):
        pictures["openings"] = openings_picture(record, result, form)
    return pictures


def lifts_picture(record: CurveRecord, result: CurveResult, form: Form = "svg") -> bytes:
    """Return lift over time since switching on, a line for each current."""
    samples, _ = reduce(record)
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=(7.2, 4.8), layout="constrained")
        axes = figure.subplots()
        for place, step in enumerate(result.heater_steps):
            _draw_step(axes, samples, step, LOOKS[place % len(LOOKS)])
        axes.axhline(result.threshold_mm, label=f"threshold {result.threshold_mm:g} mm", **GUIDE)
        axes.set_title(record.name, loc="left", fontweight="bold")
        axes.set_xlabel("time since the current came on / s")
        axes.set_ylabel("lift / mm")
        figure.legend(loc="outside lower center", ncols=2, frameon=False, fontsize=9)
        return as_bytes(figure, form)


def _draw_step(axes: Axes, samples: Samples, step: HeaterStep, look: dict[str, Any]) -> None:
    """Draw one step; its gauge is set so that the end is the steady lift, or the start is 0."""
    shown = samples.t_s >= step.t_s - BEFORE_S
    shown &= samples.t_s <= min(step.until_s, step.t_s + LONGEST_S)
    since_s, lift_mm = samples.t_s[shown] - step.t_s, samples.lift_mm[shown]
    steady = step.steady_lift
    label = f"{step.settled.element_a:.2f} A in {step.bath_c:.1f} °C"
    if steady.value is not None and steady.expanded_uncertainty is not None:
        last = samples.t_s >= step.until_s - 30.0
        last &= samples.t_s <= step.until_s
        lift_mm = lift_mm - float(samples.lift_mm[last].mean()) + steady.value
        label += f": {steady.value:.2f} ± {steady.expanded_uncertainty:.2f} mm".replace(
            "-0.00", "0"
        )
    else:
        lift_mm = lift_mm - float(np.median(lift_mm[:10]))
        label += ": not settled, from its own beginning"
    axes.plot(since_s, lift_mm, label=label, linewidth=1.5, **look)


class Point(NamedTuple):
    """An opening at one current: power in W, current in A, bath in °C and its U in K."""

    power_w: float
    element_a: float
    bath_c: float
    u_k: float


def points_of(rows: Sequence[CurrentRow]) -> list[Point]:
    """Return the openings that were measured at a current."""
    return [
        Point(row.power_w, row.element_a, row.opens.value, row.opens.expanded_uncertainty)
        for row in rows
        if not row.extrapolated
        and row.opens.value is not None
        and row.opens.expanded_uncertainty is not None
    ]


def openings_picture(record: CurveRecord, result: CurveResult, form: Form = "svg") -> bytes:
    """Return the opening temperature over power and over current, with line, band and no power."""
    rows = current_rows(result)
    points = points_of(rows)
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=(9.6, 4.8), layout="constrained")
        left, right = figure.subplots(1, 2, sharey=True)
        for axes, over_power in ((left, True), (right, False)):
            _draw_points(axes, points, over_power)
            _draw_line(axes, points, over_power)
            _draw_unpowered(axes, result.unpowered_start_to_open_c, rows)
        left.set_xlabel("power at the opening / W")
        left.set_ylabel("bath at start-to-open / °C")
        right.set_xlabel("current / A")
        if left.get_legend_handles_labels()[0]:
            left.legend(loc="lower left", frameon=False)
        figure.suptitle(record.name, x=0.01, ha="left", fontweight="bold")
        return as_bytes(figure, form)


def _draw_points(axes: Axes, points: Sequence[Point], over_power: bool) -> None:
    for number, point in enumerate(points):
        axes.errorbar(
            [point.power_w if over_power else point.element_a],
            [point.bath_c],
            yerr=[point.u_k],
            fmt="o",
            capsize=3,
            color=LOOKS[0]["color"],
            label="measured, U for 95 %" if not number else None,
        )


def _draw_line(axes: Axes, points: Sequence[Point], over_power: bool) -> None:
    """Draw the straight line in power through three openings or more, and its 95 % band."""
    if len(points) < 3:
        return
    power_w, amps, bath_c, u_k = np.array(points).T
    fitted = fit_linear(np.vander(power_w, 2), bath_c, u_k)
    ohm = float(np.mean(power_w[amps > 0] / amps[amps > 0] ** 2))
    shown_w = np.linspace(0.0, float(power_w.max()), 60)
    line_c = np.polyval(fitted.parameters, shown_w)
    mean_u = float(np.mean(u_k)) / math.sqrt(len(points))
    half_k = [2 * fitted.u([w, 1.0]) + mean_u for w in shown_w.tolist()]
    x = shown_w if over_power else np.sqrt(shown_w / ohm)
    axes.plot(x, line_c, label=f"line: {fitted.parameters[0]:.2f} K/W".replace("-", "−"), **GUIDE)
    axes.fill_between(x, line_c - half_k, line_c + half_k, **BAND)


def _draw_unpowered(axes: Axes, start: Quantity, rows: Sequence[CurrentRow]) -> None:
    """Mark the start without power where it was reckoned, not measured."""
    reckoned = any(row.extrapolated for row in rows)
    if not reckoned or start.value is None or start.expanded_uncertainty is None:
        return
    axes.errorbar(
        [0.0],
        [start.value],
        yerr=[start.expanded_uncertainty],
        fmt="s",
        capsize=4,
        color=LOOKS[1]["color"],
        label=f"unpowered, extrapolated\n{start.value:.2f} ± {start.expanded_uncertainty:.2f} °C",
    )
