"""Pictures that compare: as-found with as-left, a batch on one page, and the heater's response."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from proofbath.curve.at_currents import same_current
from proofbath.curve.drive import element_power_w
from proofbath.curve.holds import LEAST_CURRENT_A
from proofbath.curve.picture import GUIDE, LOOKS, STYLE, Form, as_bytes, cycles_drawn, thinned
from proofbath.curve.record import CurveRecord, Floats
from proofbath.curve.result import CurveResult
from proofbath.curve.samples import Samples, reduce

MARGIN_K = 4.0


def overlay_picture(
    records: Sequence[CurveRecord], results: Sequence[CurveResult], form: Form = "svg"
) -> bytes:
    """Return the last cycle of each record on common axes, named by the records' names.

    Rising branches are strong, falling ones thin; as-found beside as-left, or up to six units.
    """
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=(7.2, 4.8), layout="constrained")
        axes = figure.subplots()
        coldest_c = []
        for record, result, look in zip(records, results, LOOKS, strict=False):
            coldest_c.append(_draw_last_cycle(axes, record, result, look))
        threshold_mm = results[0].threshold_mm
        axes.axhline(threshold_mm, label=f"threshold {threshold_mm:g} mm", **GUIDE)
        axes.set_xlim(left=min(coldest_c) - MARGIN_K)
        axes.set_xlabel("bath temperature / °C (strong rising, thin falling)")
        axes.set_ylabel("lift / mm")
        axes.legend(loc="upper left", frameon=False)
        return as_bytes(figure, form)


def _draw_last_cycle(
    axes: Axes, record: CurveRecord, result: CurveResult, look: dict[str, Any]
) -> float:
    """Draw one unit; return where its stroke begins on the falling side."""
    cycles = cycles_drawn(record, result.threshold_mm)
    if not cycles:
        return float(np.nanmin(record.bath_c)) + MARGIN_K
    last = cycles[-1]
    label = overlay_label(record.name, result, last.rising)
    bath_c, lift_mm = thinned(last.rising, last.zero)
    axes.plot(bath_c, lift_mm, label=label, linewidth=1.8, **look)
    bath_c, lift_mm = thinned(last.falling, last.zero)
    axes.plot(bath_c, lift_mm, linewidth=0.8, **look)
    opened = bath_c[lift_mm > result.threshold_mm]
    return float(opened.min()) if len(opened) else float(np.nanmax(record.bath_c)) - 10.0


def overlay_label(name: str, result: CurveResult, rising: Samples) -> str:
    """Return what a rise is called: with its start-to-open, at its current where one flowed."""
    amps = 0.0
    if rising.element_a is not None and len(rising):
        amps = float(np.median(np.nan_to_num(rising.element_a)))
    starts = [result.start_to_open_c]
    if amps > LEAST_CURRENT_A:
        name += f" at {amps:.2f} A"
        known = result.series.get("start_at_current_c", ())
        starts = [one for one in known if same_current(one.at["element_a"], amps)]
    for start in starts:
        if start.value is not None and start.expanded_uncertainty is not None:
            return f"{name}: {start.value:.2f} ± {start.expanded_uncertainty:.2f} °C"
    return name


def heater_picture(record: CurveRecord, result: CurveResult, form: Form = "svg") -> bytes:
    """Return lift, power and bath over time, and start-to-open against power where it was met."""
    samples, _ = reduce(record)
    power_w = element_power_w(samples)
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=(9.6, 5.2), layout="constrained")
        grid = figure.add_gridspec(3, 2, width_ratios=(1.7, 1.0))
        times = [figure.add_subplot(grid[row, 0]) for row in range(3)]
        _draw_times(times, samples, np.zeros(len(samples)) if power_w is None else power_w)
        figure.align_ylabels(times)
        _draw_line(figure.add_subplot(grid[:, 1]), result)
        figure.suptitle(record.name, x=0.01, ha="left", fontweight="bold")
        return as_bytes(figure, form)


def _draw_times(panels: Sequence[Axes], samples: Samples, power_w: Floats) -> None:
    hours = (samples.t_s - samples.t_s[0]) / 3600
    every = max(1, len(hours) // 3000)
    for axes, values, name in zip(
        panels,
        (samples.lift_mm, power_w, samples.bath_c),
        ("lift (gauge) / mm", "power / W", "bath / °C"),
        strict=True,
    ):
        axes.plot(hours[::every], values[::every], color=LOOKS[0]["color"], linewidth=1.2)
        axes.set_ylabel(name)
        axes.sharex(panels[-1])
        axes.tick_params(labelbottom=axes is panels[-1])
    panels[-1].set_xlabel("time / h")


def _draw_line(axes: Axes, result: CurveResult) -> None:
    """Starts under power as read, with the extrapolation to no power and its interval."""
    points = [(q.at["power_w"], q.value) for q in result.series.get("start_under_power_c", ())]
    if points:
        axes.plot(*np.array(points).T, "o", color=LOOKS[0]["color"], label="as read, with lag")
    start = result.unpowered_start_to_open_c
    if start.value is not None and start.expanded_uncertainty is not None:
        axes.errorbar(
            [0.0],
            [start.value],
            yerr=[start.expanded_uncertainty],
            fmt="s",
            capsize=4,
            color=LOOKS[1]["color"],
            label=f"unpowered\n{start.value:.2f} ± {start.expanded_uncertainty:.2f} °C",
        )
        _draw_shift(axes, result, start.value)
    axes.set_xlabel("power / W")
    axes.set_ylabel("bath at start-to-open / °C")
    if axes.get_legend_handles_labels()[0]:
        axes.legend(loc="upper right", frameon=False)


def _draw_shift(axes: Axes, result: CurveResult, start_c: float) -> None:
    shift = result.shift_k_per_w
    if shift.value is not None:
        power_w = shift.at["power_w"]
        label = f"zero rate: {shift.value:.2f} K/W".replace("-", "−")
        axes.plot([0, power_w], [start_c, start_c + shift.value * power_w], label=label, **GUIDE)
