"""Two pictures of a unit at set currents: lift over time, and opening over power and current."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from proofbath.curve.current_shapes import Openings, Shape, lift_lines, openings_of, shapes_of
from proofbath.curve.film_band import OpeningAt
from proofbath.curve.picture import BAND, GUIDE, LOOKS, STYLE, Form, as_bytes
from proofbath.curve.record import CurveRecord
from proofbath.curve.result import CurveResult
from proofbath.curve.samples import reduce


def lifts_picture(record: CurveRecord, result: CurveResult, form: Form = "svg") -> bytes:
    """Return lift over time since switching on, a line for each current."""
    samples, _ = reduce(record)
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=(7.2, 4.8), layout="constrained")
        axes = figure.subplots()
        for place, line in enumerate(lift_lines(samples, result)):
            label = f"{line.element_a:.2f} A in {line.bath_c:.1f} °C"
            if line.steady_mm is None or line.steady_u_mm is None:
                label += ": not settled, from its own beginning"
            else:
                label += f": {round(line.steady_mm, 2) + 0.0:.2f} ± {line.steady_u_mm:.2f} mm"
            look = LOOKS[place % len(LOOKS)]
            axes.plot(line.since_s, line.lift_mm, label=label, linewidth=1.5, **look)
        axes.axhline(result.threshold_mm, label=f"threshold {result.threshold_mm:g} mm", **GUIDE)
        axes.set_title(record.name, loc="left", fontweight="bold")
        axes.set_xlabel("time since the current came on / s")
        axes.set_ylabel("lift / mm")
        figure.legend(loc="outside lower center", ncols=2, frameon=False, fontsize=9)
        return as_bytes(figure, form)


def openings_picture(record: CurveRecord, result: CurveResult, form: Form = "svg") -> bytes:
    """Return the opening temperature over power and over current, with line, band and no power."""
    shown = openings_of(result)
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=(9.6, 4.8), layout="constrained")
        left, right = figure.subplots(1, 2, sharey=True)
        for axes, over_power in ((left, True), (right, False)):
            _draw_band(axes, shown, over_power)
            _draw_openings(axes, shown, over_power)
        left.set_xlabel("power at the opening / W")
        left.set_ylabel("bath at start-to-open / °C")
        right.set_xlabel("current / A")
        if left.get_legend_handles_labels()[0]:
            figure.legend(
                *left.get_legend_handles_labels(),
                loc="outside lower center",
                ncols=2,
                frameon=False,
                fontsize=9,
            )
        figure.suptitle(record.name, x=0.01, ha="left", fontweight="bold")
        return as_bytes(figure, form)


def _draw_band(axes: Axes, shown: Openings, over_power: bool) -> None:
    """Draw where an opening is expected at each power, and where 95 of 100 measured ones lie."""
    if shown.band is None:
        return
    power_w, bath_c, half_k = shown.band
    x = power_w if over_power else shown.amps(power_w)
    axes.plot(x, bath_c, label="expected between them", **GUIDE)
    label = "95 of 100 openings measured at that power"
    axes.fill_between(x, bath_c - half_k, bath_c + half_k, label=label, **BAND)


def _draw_openings(axes: Axes, shown: Openings, over_power: bool) -> None:
    def points(openings: tuple[OpeningAt, ...], label: str, fmt: str, **look: Any) -> None:
        if openings:
            powers_w, amps, bath_c, u_k, _ = np.array(openings).T
            x = powers_w if over_power else amps
            axes.errorbar(x, bath_c, yerr=u_k, fmt=fmt, capsize=3, label=label, **look)

    blue, red = str(LOOKS[0]["color"]), str(LOOKS[1]["color"])
    points(shown.at_currents, "at a set current, the bath rising, ± U", "o", color=blue)
    label = "while the power rose (hangs behind), ± U"
    points(shown.ramped, label, "o", color=blue, markerfacecolor="white")
    if shown.unpowered is not None and shown.has_power:
        none = shown.unpowered
        how = "reckoned from those under power" if shown.reckoned else "measured"
        label = f"without power, {how}: {none.bath_c:.2f} ± {none.u_k:.2f} °C"
        points((none,), label, "s", color=red)


DRAWN: dict[Shape, Callable[[CurveRecord, CurveResult, Form], bytes]] = {
    "lifts": lifts_picture,
    "openings": openings_picture,
}
"""What draws each of the two pictures."""


def current_pictures(
    record: CurveRecord, result: CurveResult, form: Form = "svg"
) -> dict[Shape, bytes]:
    """Return those of the two pictures that a unit's measurement bears."""
    return {shape: DRAWN[shape](record, result, form) for shape in shapes_of(result)}
