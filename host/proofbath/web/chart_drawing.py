"""A control chart as a drawing: single values, EWMA and limits, told apart without colour."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import NamedTuple

from proofbath.certificate.words import fixed
from proofbath.web.night_preview import Tick
from proofbath.workshop.chart_view import ChartView, PointView

WIDTH, HEIGHT, LEFT, RIGHT, TOP, BOTTOM = 900.0, 340.0, 78.0, 24.0, 18.0, 40.0
MOST_TICKS = 8
NEWEST = 60
"""So many runs are drawn; the table below holds all."""
STEPS = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0)


Of = Callable[[PointView], float | None]


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


class _Plane(NamedTuple):
    """Where the values of some runs lie in a drawing; ticks every `step` from `low` to `high`."""

    points: Sequence[PointView]
    low: float
    high: float
    step: float

    def x(self, n: int) -> float:
        return round(LEFT + self.width * (n + 0.5), 1)

    def y(self, value: float) -> float:
        share = (value - self.low) / (self.high - self.low)
        return round(HEIGHT - BOTTOM - (HEIGHT - BOTTOM - TOP) * share, 1)

    @property
    def width(self) -> float:
        """Width of one run."""
        return (WIDTH - LEFT - RIGHT) / len(self.points)

    def line(self, of: Of) -> str:
        found = ((self.x(n), of(point)) for n, point in enumerate(self.points))
        return " ".join(f"{at},{self.y(value)}" for at, value in found if value is not None)

    def steps(self, of: Of) -> str:
        """A limit as a level over each run's own width, so that a single run shows it too."""
        half, found = self.width / 2, ((self.x(n), of(p)) for n, p in enumerate(self.points))
        return " ".join(
            f"{at - half:.1f},{self.y(value)} {at + half:.1f},{self.y(value)}"
            for at, value in found
            if value is not None
        )

    def values(self) -> tuple[Tick, ...]:
        decimals = max(0, -math.floor(math.log10(self.step)))
        count = round((self.high - self.low) / self.step) + 1
        levels = (self.low + n * self.step for n in range(count))
        return tuple(Tick(self.y(level), fixed(level, decimals)) for level in levels)

    def runs(self) -> tuple[Tick, ...]:
        each = max(1, math.ceil(len(self.points) / 12))
        named = ((n, point.run.replace(", soak ", "/")) for n, point in enumerate(self.points))
        return tuple(Tick(self.x(n), name) for n, name in named if n % each == 0)


def drawn(chart: ChartView, title: str, unit: str, with_ewma: bool) -> Drawn | None:
    """Return the newest runs of a chart as a drawing, None where there are none."""
    points = chart.points[-NEWEST:]
    if not points:
        return None
    plane = _plane(points, with_ewma)
    return Drawn(
        title,
        _caption(chart, points, unit, with_ewma),
        plane.line(lambda p: p.value),
        plane.steps(lambda p: p.centre),
        plane.steps(lambda p: _edge(p.centre, p.half_width, 1)),
        plane.steps(lambda p: _edge(p.centre, p.half_width, -1)),
        plane.line(lambda p: p.ewma) if with_ewma else "",
        plane.steps(lambda p: _edge(p.centre, p.ewma_half_width, 1)) if with_ewma else "",
        plane.steps(lambda p: _edge(p.centre, p.ewma_half_width, -1)) if with_ewma else "",
        tuple(Mark(plane.x(n), plane.y(p.value), bool(p.signal)) for n, p in enumerate(points)),
        plane.values(),
        plane.runs(),
    )


def _plane(points: Sequence[PointView], with_ewma: bool) -> _Plane:
    low, high = _span(points, with_ewma)
    step = next((s for s in STEPS if (high - low) / s <= MOST_TICKS), STEPS[-1])
    return _Plane(points, step * math.floor(low / step), step * math.ceil(high / step), step)


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
    parts += [f"last value {fixed(last.value, 3)}, centre {fixed(last.centre, 3)}"]
    return "; ".join(parts) + "."
