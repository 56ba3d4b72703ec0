"""A control chart as a drawing: single values, EWMA and limits, told apart without colour."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import NamedTuple

from proofbath.web.api_shapes import ChartView, PointView
from proofbath.web.night_preview import Tick

WIDTH, HEIGHT, LEFT, RIGHT, TOP, BOTTOM = 900.0, 340.0, 78.0, 24.0, 18.0, 40.0
MOST_TICKS = 8
NEWEST = 60
"""So many runs are drawn; the table below holds all."""
STEPS = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0)


class Mark(NamedTuple):
    """A run's value; a signal is drawn as a cross in a ring."""

    x: float
    y: float
    signal: bool


class Drawn(NamedTuple):
    """A chart in units of `WIDTH` x `HEIGHT`; lines as the points of polylines."""

    title: str
    caption: str
    single: str
    centre: str
    limits_high: str
    limits_low: str
    ewma: str
    ewma_high: str
    ewma_low: str
    marks: tuple[Mark, ...]
    values: tuple[Tick, ...]
    runs: tuple[Tick, ...]
    width: float = WIDTH
    height: float = HEIGHT
    left: float = LEFT
    right: float = WIDTH - RIGHT
    bottom: float = HEIGHT - BOTTOM


def drawn(chart: ChartView, title: str, unit: str, with_ewma: bool) -> Drawn | None:
    """Return the newest runs of a chart as a drawing, None where there are none."""
    points = chart.points[-NEWEST:]
    if not points:
        return None
    low, high = _span(points, with_ewma)
    step = next((s for s in STEPS if (high - low) / s <= MOST_TICKS), STEPS[-1])
    low, high = step * math.floor(low / step), step * math.ceil(high / step)

    def x(n: int) -> float:
        return round(LEFT + (WIDTH - LEFT - RIGHT) * (n + 0.5) / len(points), 1)

    def y(value: float) -> float:
        return round(HEIGHT - BOTTOM - (HEIGHT - BOTTOM - TOP) * (value - low) / (high - low), 1)

    def line(of: Callable[[PointView], float | None]) -> str:
        found = ((x(n), of(point)) for n, point in enumerate(points))
        return " ".join(f"{at},{y(value)}" for at, value in found if value is not None)

    each = max(1, math.ceil(len(points) / 12))
    decimals = max(0, -math.floor(math.log10(step)))
    return Drawn(
        title,
        _caption(chart, points, unit, with_ewma),
        line(lambda p: p.value),
        line(lambda p: p.centre),
        line(lambda p: _edge(p.centre, p.half_width, 1)),
        line(lambda p: _edge(p.centre, p.half_width, -1)),
        line(lambda p: p.ewma) if with_ewma else "",
        line(lambda p: _edge(p.centre, p.ewma_half_width, 1)) if with_ewma else "",
        line(lambda p: _edge(p.centre, p.ewma_half_width, -1)) if with_ewma else "",
        tuple(Mark(x(n), y(p.value), p.signal is not None) for n, p in enumerate(points)),
        tuple(
            Tick(y(low + n * step), f"{low + n * step:.{decimals}f}")
            for n in range(round((high - low) / step) + 1)
        ),
        tuple(
            Tick(x(n), p.run.replace(", soak ", "/")) for n, p in enumerate(points) if n % each == 0
        ),
    )


def _edge(centre: float, half_width: float | None, side: int) -> float | None:
    return None if half_width is None else centre + side * half_width


def _span(points: Sequence[PointView], with_ewma: bool) -> tuple[float, float]:
    seen = [p.value for p in points] + [p.centre for p in points]
    for point in points:
        if point.half_width is not None:
            seen += [point.centre - point.half_width, point.centre + point.half_width]
        if with_ewma:
            seen.append(point.ewma)
    low, high = min(seen), max(seen)
    spare = 0.06 * (high - low) or 0.05
    return low - spare, high + spare


def _caption(chart: ChartView, points: Sequence[PointView], unit: str, with_ewma: bool) -> str:
    last = points[-1]
    parts = [f"{unit} against run number"]
    parts += [f"the newest {len(points)} of {len(chart.points)}"]
    parts += ["dots and full line: single values; thin full line: centre; long dashes: limits"]
    parts += ["dotted: EWMA, short dashes: its limits"] if with_ewma else []
    parts += ["a cross in a ring: out of control"]
    parts += [f"last value {last.value:.3f}, centre {last.centre:.3f}"]
    return "; ".join(parts) + "."
