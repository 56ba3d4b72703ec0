"""Small pictures of lift over bath or time: black on white, told apart by dashes and letters."""

from __future__ import annotations

import math
from collections.abc import Sequence
from html import escape
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

WIDTH_MM, HEIGHT_MM = 150.0, 78.0
LEFT, RIGHT, TOP, BOTTOM = 14.0, 4.0, 11.0, 12.0
LETTER_MM, SMALL_MM = 3.2, 2.8
MOST_POINTS = 700
"""Points kept of a line: more than a printer shows, few enough for a small file."""
LOOKS = ((0.55, ""), (0.3, "2 1.2"), (0.3, "0.5 1"))
"""Width in mm and dashes of the first, second and third line."""


class Line(NamedTuple):
    """A line with its name; it breaks where a value is not a number."""

    name: str
    x: Floats
    y: Floats


class Plot(NamedTuple):
    """A picture's words, lines, and the part of both axes that is shown."""

    title: str
    x_words: str
    y_words: str
    lines: Sequence[Line]
    x_range: tuple[float, float]
    y_range: tuple[float, float]


def thinned(x: Floats, y: Floats, plot: Plot) -> tuple[Floats, Floats]:
    """Return the part that is shown, as few points as keep every short lift visible."""
    inside = np.flatnonzero((x >= plot.x_range[0]) & (x <= plot.x_range[1]))
    if len(inside) <= MOST_POINTS:
        return x[inside], y[inside]
    kept: list[int] = []
    for part in np.array_split(inside, MOST_POINTS // 2):
        if np.all(np.isnan(y[part])):
            continue
        ends = {int(part[np.nanargmin(y[part])]), int(part[np.nanargmax(y[part])])}
        kept += sorted(ends)
    return x[kept], y[kept]


def svg(plot: Plot) -> str:
    """Return the picture's text."""
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH_MM:g}mm" height="{HEIGHT_MM:g}mm" '
        f'viewBox="0 0 {WIDTH_MM:g} {HEIGHT_MM:g}" font-family="Helvetica, Arial, sans-serif" '
        'stroke-linejoin="round">',
        f"<title>{escape(plot.title)}</title>",
        f'<rect width="{WIDTH_MM:g}" height="{HEIGHT_MM:g}" fill="#fff"/>',
        _text(LEFT, 5.0, plot.title, LETTER_MM, bold=True),
        *_axes(plot),
    ]
    for number, line in enumerate(plot.lines):
        parts.append(_drawn(plot, line, number))
        parts += _key(line.name, number)
    return "\n".join([*parts, "</svg>", ""])


def _place(plot: Plot, x: float, y: float) -> tuple[float, float]:
    wide, high = WIDTH_MM - LEFT - RIGHT, HEIGHT_MM - TOP - BOTTOM
    across = (x - plot.x_range[0]) / (plot.x_range[1] - plot.x_range[0])
    up = (y - plot.y_range[0]) / (plot.y_range[1] - plot.y_range[0])
    return LEFT + wide * across, HEIGHT_MM - BOTTOM - high * up


def _axes(plot: Plot) -> list[str]:
    parts = []
    for at in _ticks(*plot.x_range):
        x, y = _place(plot, at, plot.y_range[0])
        parts.append(_stroke([(x, y), (x, TOP)], 0.1, "0.3 1.2"))
        parts.append(_text(x, y + 4.0, f"{at:g}", SMALL_MM, "middle"))
    for at in _ticks(*plot.y_range):
        x, y = _place(plot, plot.x_range[0], at)
        parts.append(_stroke([(x, y), (WIDTH_MM - RIGHT, y)], 0.1, "0.3 1.2"))
        parts.append(_text(x - 1.0, y + 1.0, f"{at:g}", SMALL_MM, "end"))
    foot, right = HEIGHT_MM - BOTTOM, WIDTH_MM - RIGHT
    parts.append(_stroke([(LEFT, TOP), (LEFT, foot), (right, foot)], 0.25, ""))
    parts.append(_text(right, foot + 8.5, plot.x_words, SMALL_MM, "end"))
    parts.append(_text(1.5, TOP - 1.5, plot.y_words, SMALL_MM))
    return parts


def _ticks(low: float, high: float) -> list[float]:
    rough = (high - low) / 6
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(n * power for n in (1, 2, 5, 10) if n * power >= rough)
    first = math.ceil(low / step - 1e-9)
    return [round(n * step, 6) for n in range(first, math.floor(high / step + 1e-9) + 1)]


def _drawn(plot: Plot, line: Line, number: int) -> str:
    x, y = thinned(line.x, line.y, plot)
    low, high = plot.y_range
    points = [_place(plot, a, min(max(b, low), high)) for a, b in zip(x, y, strict=True) if b == b]
    return _stroke(points, *LOOKS[number])


def _key(name: str, number: int) -> list[str]:
    x, y = LEFT + 3.0, TOP + 4.0 + 4.5 * number
    return [
        f'<rect x="{x - 1:.1f}" y="{y - 3:.1f}" width="{len(name) * SMALL_MM * 0.56 + 12:.1f}" '
        'height="4.4" fill="#fff"/>',
        _stroke([(x, y - 1.0), (x + 8.0, y - 1.0)], *LOOKS[number]),
        _text(x + 9.5, y, name, SMALL_MM),
    ]


def _stroke(points: Sequence[tuple[float, float]], width: float, dash: str) -> str:
    joined = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<polyline points="{joined}" fill="none" stroke="#000" stroke-width="{width:g}"{dashed}/>'
    )


def _text(
    x: float, y: float, words: str, size: float, anchor: str = "start", bold: bool = False
) -> str:
    weight = ' font-weight="bold"' if bold else ""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size:g}" text-anchor="{anchor}"{weight}>'
        f"{escape(words)}</text>"
    )
