"""Study of a bench: units rotated over stations in some nights, and what varies between them.

Six nights are a Latin square: every unit at every station once. The short form takes three. A
cell is one loading; its cycles show the repeatability, what is left between cells is the reload.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from scipy import linalg, stats

from proofbath.errors import InputError

LEVEL = 0.95
SHIFTS: dict[int, tuple[int, ...]] = {6: (0, 1, 2, 3, 4, 5), 3: (0, 1, 3)}
"""Stations by which all units move on, night by night; 0, 1, 3 let any two units share a station
about equally often."""

Floats = np.ndarray


def layout(nights: int = 6, stations: int = 6) -> list[list[int]]:
    """Return the unit (0..5) at each station, a row a night; nights 6 or, short form, 3."""
    if nights not in SHIFTS or stations != 6:
        raise InputError(
            f"study of {nights} nights, {stations} stations: 6 stations, 6 or 3 nights"
        )
    return [
        [(station - shift) % stations for station in range(stations)] for shift in SHIFTS[nights]
    ]


class Cell(NamedTuple):
    """One loading: unit, station and night by name, and the start-to-open of each cycle in °C."""

    unit: str
    station: str
    night: str
    cycles_c: tuple[float, ...]


class Component(NamedTuple):
    """One standard deviation in K with its 95 % interval; `f` and `p` test it against none.

    `variance` is the unbiased estimate and may be negative; `sd` is 0 then.
    """

    name: str
    variance: float
    interval: tuple[float, float]
    degrees_of_freedom: float
    f: float | None = None
    p: float | None = None

    @property
    def sd(self) -> float:
        """The standard deviation, 0 where the estimate of the variance is negative."""
        return math.sqrt(max(0.0, self.variance))


class Study(NamedTuple):
    """Components of a bench's variation; `repeatability` is None with one cycle a cell."""

    mean: float
    unit: Component
    station: Component
    night: Component
    reload: Component
    repeatability: Component | None

    def for_budget(self) -> dict[str, float]:
        """Return the figures of a bench budget: repeatability (sd, dof) and change between nights.

        Repeatability is that of cycles within a loading where cycles were recorded, else of
        loadings. Night and reload together are the change between nights.
        """
        if self.repeatability is None:
            pooled, nights_k = self.reload, self.night.sd
        else:
            pooled, nights_k = self.repeatability, math.hypot(self.night.sd, self.reload.sd)
        return {
            "repeatability_k": pooled.sd,
            "repeatability_dof": pooled.degrees_of_freedom,
            "night_k": nights_k,
        }


def study(cells: Sequence[Cell]) -> Study:
    """Return the components unit, station, night, reload and repeatability of a bench.

    Each factor's sum of squares is adjusted for the other two, which in the whole square is the
    usual analysis of variance; the expected mean square follows from the layout (Henderson's
    method 3). Raises InputError where the cells cannot part the factors.
    """
    means = np.array([np.mean(cell.cycles_c) for cell in cells])
    factors = {
        "unit": _design([cell.unit for cell in cells]),
        "station": _design([cell.station for cell in cells]),
        "night": _design([cell.night for cell in cells]),
    }
    whole = _basis(list(factors.values()), len(cells))
    freedom = len(cells) - whole.shape[1]
    if freedom < 1:
        raise InputError(f"study: {len(cells)} loadings leave nothing to judge by; load more")
    left = float(np.sum((means - whole @ (whole.T @ means)) ** 2)) / freedom
    found = {name: _component(name, means, factors, whole, left, freedom) for name in factors}
    within = _within(cells)
    reload = _reload(left, freedom, cells, within)
    return Study(
        float(means.mean()), found["unit"], found["station"], found["night"], reload, within
    )


def _design(labels: Sequence[str]) -> Floats:
    names = sorted(set(labels))
    return np.array([[float(label == name) for name in names] for label in labels])


def _basis(designs: Sequence[Floats], rows: int) -> Floats:
    """Return an orthonormal basis of the mean and the designs' columns."""
    return linalg.orth(np.hstack([np.ones((rows, 1)), *designs]), rcond=1e-10)


def _component(
    name: str,
    means: Floats,
    factors: dict[str, Floats],
    whole: Floats,
    left: float,
    freedom: int,
) -> Component:
    others = _basis([design for other, design in factors.items() if other != name], len(means))
    own_dof = whole.shape[1] - others.shape[1]
    if own_dof < 1:
        raise InputError(f"study: {name} cannot be told from the rest; rotate the units")
    fitted, without = whole @ (whole.T @ means), others @ (others.T @ means)
    mean_square = float(np.sum((fitted - without) ** 2)) / own_dof
    design = factors[name] - others @ (others.T @ factors[name])
    size = float(np.sum(design**2)) / own_dof
    f = mean_square / left if left > 0 else math.inf
    p = float(stats.f.sf(f, own_dof, freedom))
    interval = difference_interval(mean_square, own_dof, left, freedom, size)
    return Component(name, (mean_square - left) / size, interval, own_dof, f, p)


def difference_interval(
    upper: float, upper_dof: float, lower: float, lower_dof: float, size: float
) -> tuple[float, float]:
    """Return the 95 % interval of sqrt((upper − lower) / size), two mean squares' component.

    Modified large-sample method (Ting and others 1990; Burdick and Graybill 1992), cut at 0.
    """
    alpha = (1 - LEVEL) / 2
    g1, h1 = _large_sample(alpha, upper_dof)
    g2, h2 = _large_sample(alpha, lower_dof)
    high = float(stats.f.ppf(1 - alpha, upper_dof, lower_dof))
    low = float(stats.f.ppf(alpha, upper_dof, lower_dof))
    g12 = ((high - 1) ** 2 - (g1 * high) ** 2 - h2**2) / high
    h12 = ((1 - low) ** 2 - (h1 * low) ** 2 - g2**2) / low
    down = (g1 * upper) ** 2 + (h2 * lower) ** 2 + g12 * upper * lower
    up = (h1 * upper) ** 2 + (g2 * lower) ** 2 + h12 * upper * lower
    middle = upper - lower
    least = middle - math.sqrt(max(0.0, down))
    most = middle + math.sqrt(max(0.0, up))
    return math.sqrt(max(0.0, least) / size), math.sqrt(max(0.0, most) / size)


def _large_sample(alpha: float, freedom: float) -> tuple[float, float]:
    """Return how far a mean square's interval reaches down and up, as shares of it."""
    high, low = (float(stats.chi2.ppf(p, freedom)) / freedom for p in (1 - alpha, alpha))
    return 1 - 1 / high, 1 / low - 1


def _within(cells: Sequence[Cell]) -> Component | None:
    freedom = sum(len(cell.cycles_c) - 1 for cell in cells)
    if freedom < 1:
        return None
    squares = sum(float(np.var(c.cycles_c)) * len(c.cycles_c) for c in cells)
    variance = squares / freedom
    return Component("repeatability", variance, _sd_interval(variance, freedom), freedom)


def _sd_interval(variance: float, freedom: float) -> tuple[float, float]:
    high, low = (float(stats.chi2.ppf((1 + side * LEVEL) / 2, freedom)) for side in (1, -1))
    return math.sqrt(variance * freedom / high), math.sqrt(variance * freedom / low)


def _reload(
    left: float, freedom: int, cells: Sequence[Cell], within: Component | None
) -> Component:
    if within is None:
        return Component("reload", left, _sd_interval(left, freedom), freedom)
    size = len(cells) / sum(1 / len(cell.cycles_c) for cell in cells)
    upper, own = left * size, within.degrees_of_freedom
    interval = difference_interval(upper, freedom, within.variance, own, size)
    f = upper / within.variance if within.variance > 0 else math.inf
    variance = (upper - within.variance) / size
    return Component("reload", variance, interval, freedom, f, float(stats.f.sf(f, freedom, own)))
