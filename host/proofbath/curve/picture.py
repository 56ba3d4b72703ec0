"""Opening curves as pictures: SVG or PNG bytes, readable without colour, the same every time."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any, Literal

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from proofbath.curve.branches import SMALLEST_SWING_K, cycles_of
from proofbath.curve.cycles import features_of_cycles
from proofbath.curve.features import CycleFeatures, Wanted
from proofbath.curve.holds import LEAST_CURRENT_A
from proofbath.curve.record import CurveRecord, Floats
from proofbath.curve.result import CurveResult, Quantity
from proofbath.curve.samples import Samples, reduce
from proofbath.curve.zero import Zero

Form = Literal["svg", "png"]

# Blue and vermilion keep apart for every kind of colour blindness and in grey; dashes repeat it.
RISING: dict[str, Any] = {"color": "#0b4f8a", "linestyle": "-", "linewidth": 1.6}
FALLING: dict[str, Any] = {"color": "#d55e00", "linestyle": (0, (5, 1.8)), "linewidth": 1.4}
GUIDE: dict[str, Any] = {"color": "#555555", "linewidth": 0.8, "linestyle": ":"}
BAND: dict[str, Any] = {"color": "#999999", "alpha": 0.4, "linewidth": 0}
# Hues of Okabe and Ito's palette, dark ones first; dashes tell them apart in grey.
LOOKS: tuple[dict[str, Any], ...] = (
    {"color": "#0b4f8a", "linestyle": "-"},
    {"color": "#d55e00", "linestyle": (0, (6, 2))},
    {"color": "#007a5a", "linestyle": (0, (2, 1.5))},
    {"color": "#222222", "linestyle": (0, (8, 2, 2, 2))},
    {"color": "#a0528a", "linestyle": (0, (4, 1, 1, 1))},
    {"color": "#4f9fd0", "linestyle": (0, (1, 1))},
)
STYLE: Any = {
    "font.size": 10.0,
    "font.family": "DejaVu Sans",
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "grid.color": "#e4e4e4",
    "grid.linewidth": 0.6,
    "svg.hashsalt": "proofbath",
    "svg.fonttype": "path",
}
MARGIN_K = 6.0
HELD_S, HELD_K = 60.0, 0.1
DRAWN_POINTS = 1500


def curve_picture(record: CurveRecord, result: CurveResult, form: Form = "svg") -> bytes:
    """Return one unit's opening curve: all cycles, threshold, start-to-open with its interval."""
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=(7.2, 4.8), layout="constrained")
        axes = figure.subplots()
        _draw_unit(axes, record, result)
        axes.set_title(record.name, loc="left", fontweight="bold")
        axes.set_xlabel("bath temperature / °C")
        axes.set_ylabel("lift / mm")
        axes.legend(*_legend(axes), loc="upper left", frameon=False)
        _say_start(axes, result)
        return as_bytes(figure, form)


def batch_picture(
    records: Sequence[CurveRecord], results: Sequence[CurveResult], form: Form = "svg"
) -> bytes:
    """Return the opening curves of several units as small multiples on common axes."""
    columns = min(3, max(1, len(records)))
    rows = -(-len(records) // columns)
    with mpl.rc_context(STYLE | {"font.size": 9.0}):
        figure = Figure(figsize=(3.4 * columns, 2.7 * rows + 0.5), layout="constrained")
        grid = figure.subplots(rows, columns, sharex=True, sharey=True, squeeze=False).ravel()
        for axes, record, result in zip(grid, records, results, strict=False):
            _draw_unit(axes, record, result)
            axes.set_title(record.name, loc="left", fontweight="bold", fontsize=10)
            _say_start(axes, result)
        for axes in grid[len(records) :]:
            axes.set_visible(False)
        figure.supxlabel("bath temperature / °C", fontsize=10)
        figure.supylabel("lift / mm", fontsize=10)
        figure.legend(*_legend(grid[0]), loc="outside upper right", ncols=3, frameon=False)
        return as_bytes(figure, form)


def _draw_unit(axes: Axes, record: CurveRecord, result: CurveResult) -> None:
    for features in cycles_drawn(record, result.threshold_mm):
        _draw_branches(axes, features)
    _draw_band(axes, result)
    axes.axhline(result.threshold_mm, label=f"threshold {result.threshold_mm:g} mm", **GUIDE)
    start = result.start_to_open_c
    if start.value is not None and start.expanded_uncertainty is not None:
        axes.axvspan(
            start.value - start.expanded_uncertainty,
            start.value + start.expanded_uncertainty,
            **BAND,
        )
        axes.axvline(start.value, color="#222222", linewidth=0.8)
    _frame(axes, record)


def _draw_band(axes: Axes, result: CurveResult) -> None:
    """The rising curve at zero rate with its interval, where temperatures at lifts were asked."""
    points = [
        (q.at["lift_mm"], q.value, q.expanded_uncertainty)
        for q in result.series.get("temperature_at_c", ())
        if q.value is not None and q.expanded_uncertainty is not None
    ]
    if len(points) > 1:
        lift_mm, bath_c, half_k = np.array(points).T
        axes.fill_betweenx(
            lift_mm, bath_c - half_k, bath_c + half_k, label="zero rate, 95 %", **BAND
        )


def cycles_drawn(record: CurveRecord, threshold_mm: float) -> list[CycleFeatures]:
    """Return a record's cycles with their zeros, as the pictures draw them."""
    samples, _ = reduce(record)
    return features_of_cycles(samples, cycles_of(samples), Wanted(threshold_mm))


def _draw_branches(axes: Axes, features: CycleFeatures) -> None:
    for branch, label, look in (
        (features.rising, "rising", RISING),
        (features.falling, "falling", FALLING),
    ):
        if len(branch) > 1 and np.ptp(branch.bath_c) >= SMALLEST_SWING_K:
            axes.plot(*thinned(branch, features.zero), label=label, **look)


def thinned(branch: Samples, zero: Zero | None) -> tuple[Floats, Floats]:
    """Return bath and zeroed lift of a branch as points enough to draw, NaN across gaps."""
    shut = zero.reading_mm(branch.bath_c) if zero else 0.0
    lift_mm = np.where(np.diff(branch.run, prepend=branch.run[:1]) > 0, np.nan, branch.lift_mm)
    lift_mm = np.where(_held(branch), np.nan, lift_mm)
    every = max(1, len(branch) // DRAWN_POINTS)
    return branch.bath_c[::every], (lift_mm - shut)[::every]


def _held(branch: Samples) -> np.ndarray:
    """Where a heater works at one bath temperature: no opening curve, but a line straight up."""
    if branch.element_a is None:
        return np.zeros(len(branch), dtype=bool)
    away_s = HELD_S / max(branch.interval_s, 1e-3)
    half = max(1, round(away_s / 2))
    ahead = np.minimum(np.arange(len(branch)) + half, len(branch) - 1)
    behind = np.maximum(np.arange(len(branch)) - half, 0)
    moved_k = np.abs(branch.bath_c[ahead] - branch.bath_c[behind])
    held: np.ndarray = (moved_k < HELD_K) & (np.nan_to_num(branch.element_a) > LEAST_CURRENT_A)
    return held


def _frame(axes: Axes, record: CurveRecord) -> None:
    """Show the stroke and some kelvins beside it, not the whole heating up from cold."""
    lift_mm, bath_c = record.lift_mm, record.bath_c
    moved = lift_mm > np.nanquantile(lift_mm, 0.02) + 0.3
    if moved.any():
        low_c = float(np.nanmin(bath_c[moved]))
        axes.set_xlim(low_c - MARGIN_K, float(np.nanmax(bath_c)) + 1.0)


def _say_start(axes: Axes, result: CurveResult) -> None:
    """Write the start where such curves leave room: under power they fill the right side."""
    measured, extrapolated = result.start_to_open_c, result.unpowered_start_to_open_c
    if measured.value is not None or extrapolated.value is None:
        place: dict[str, Any] = {"x": 0.98, "y": 0.06, "ha": "right", "va": "bottom"}
        text = f"start-to-open{_interval(measured)}"
    else:
        place = {"x": 0.02, "y": 0.5, "ha": "left", "va": "center"}
        text = f"unpowered start-to-open,\nfrom powered runs{_interval(extrapolated)}"
    axes.text(s=text, transform=axes.transAxes, **place)


def _interval(quantity: Quantity) -> str:
    if quantity.value is None or quantity.expanded_uncertainty is None:
        return ": none"
    return f"\n{quantity.value:.2f} ± {quantity.expanded_uncertainty:.2f} °C"


def _legend(axes: Axes) -> tuple[list[Any], list[str]]:
    """Return each label once, although every cycle drew its own lines."""
    handles, labels = axes.get_legend_handles_labels()
    once = dict(zip(labels, handles, strict=True))
    return list(once.values()), list(once)


def as_bytes(figure: Figure, form: Form) -> bytes:
    """Return the figure as a file's bytes, without date, the same every time."""
    FigureCanvasAgg(figure)
    buffer = io.BytesIO()
    metadata = (
        {"Date": None, "Creator": "proofbath"} if form == "svg" else {"Software": "proofbath"}
    )
    figure.savefig(buffer, format=form, dpi=150, metadata=metadata)
    return buffer.getvalue()
