"""Stations, persons, supplier lots, types compared, and trends: tests that say their power."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy import optimize, special, stats

LEVEL = 0.05
POWER = 0.8


class Group(NamedTuple):
    """One group: its mean, and how far it lies from the mean of the others, with 95 % half width.

    The half widths are widened for the number of groups (Bonferroni).
    """

    name: str
    units: int
    mean: float
    difference: float
    half_width: float

    @property
    def stands_out(self) -> bool:
        """Whether the difference is more than chance among so many groups."""
        return abs(self.difference) > self.half_width


@dataclass(frozen=True)
class Comparison:
    """One-way analysis of variance over groups; `visible` is what it finds in 4 of 5 cases."""

    groups: tuple[Group, ...]
    f: float
    between_dof: int
    within_dof: int
    p: float
    within_sd: float
    visible: float

    def in_words(self, factor: str, unit: str, adjusted_p: float | None = None) -> str:
        """Return what the comparison says, also what it could not have seen."""
        p = self.p if adjusted_p is None else adjusted_p
        several = plural(factor)
        if p >= LEVEL:
            return (
                f"no difference between {several} shown (p {p:.2g}); a spread of"
                f" {self.visible:.2g} {unit} (sd between {several}) would be found in 4 of 5 cases"
            )
        out = [f"{g.name} by {g.difference:+.2g} {unit}" for g in self.groups if g.stands_out]
        named = f": {', '.join(out)}" if out else "; none stands out alone"
        return f"{several} differ (p {p:.2g}){named}"


def plural(factor: str) -> str:
    """Return a factor's name for several."""
    return f"{factor}es" if factor.endswith("ch") else f"{factor}s"


def compare(values_by_group: Mapping[str, Sequence[float]]) -> Comparison | None:
    """Return the comparison of groups of two or more values; None with fewer than two of these."""
    kept = {name: v for name, v in values_by_group.items() if len(v) > 1}
    if len(kept) < 2:
        return None
    origin = next(iter(kept.values()))[0]  # sums of small numbers keep their digits
    named = {name: np.asarray(v, float) - origin for name, v in kept.items()}
    arrays = list(named.values())
    everything = np.concatenate(arrays)
    between, within = len(arrays) - 1, len(everything) - len(arrays)
    squares = sum(float(((v - v.mean()) ** 2).sum()) for v in arrays)
    spread = sum(len(v) * float(v.mean() - everything.mean()) ** 2 for v in arrays)
    sd = math.sqrt(squares / within)
    if sd == 0.0:
        return None
    f = spread / between / sd**2
    groups = tuple(
        _group(name, v, origin, everything, sd, within, len(arrays)) for name, v in named.items()
    )
    p = float(special.fdtrc(between, within, f))
    size = (len(everything) - sum(len(v) ** 2 for v in arrays) / len(everything)) / between
    return Comparison(groups, f, between, within, p, sd, sd * _visible(size, between, within))


def _group(
    name: str,
    v: np.ndarray,
    origin: float,
    everything: np.ndarray,
    sd: float,
    dof: int,
    groups: int,
) -> Group:
    rest = len(everything) - len(v)
    others = (float(everything.sum()) - float(v.sum())) / rest
    wide = (
        float(special.stdtrit(dof, 1 - LEVEL / 2 / groups)) * sd * math.sqrt(1 / len(v) + 1 / rest)
    )
    mean = float(v.mean())
    return Group(name, len(v), origin + mean, mean - others, wide)


def _visible(size: float, between: int, within: int) -> float:
    """Return the sd between groups, in sd within, that the F test finds with 80 % chance."""
    limit = float(special.fdtri(between, within, 1 - LEVEL))

    def short(ratio: float) -> float:
        return float(special.fdtrc(between, within, limit / (1 + size * ratio**2))) - POWER

    return float(optimize.brentq(short, 0.0, 1e3))


def adjusted_p(p_by_factor: Mapping[str, float]) -> dict[str, float]:
    """Return Holm's p values for factors that were all looked at on the same units."""
    ordered = sorted(p_by_factor.items(), key=lambda item: item[1])
    adjusted, largest = dict[str, float](), 0.0
    for number, (name, p) in enumerate(ordered):
        largest = max(largest, min(1.0, p * (len(ordered) - number)))
        adjusted[name] = largest
    return adjusted


class Trend(NamedTuple):
    """A straight line through values in order: slope per step of x, 95 % half width, p."""

    slope: float
    slope_sd: float
    half_width: float
    p: float
    residual_sd: float


def trend(x: Sequence[float], values: Sequence[float]) -> Trend | None:
    """Return the trend of values over time or order; None with fewer than four, or all alike."""
    if len(values) < 4 or max(x) == min(x) or max(values) == min(values):
        return None
    line = stats.linregress(x, values)
    freedom = len(values) - 2
    residuals = np.asarray(values) - (line.intercept + line.slope * np.asarray(x))
    sd = math.sqrt(float((residuals**2).sum()) / freedom)
    half = float(special.stdtrit(freedom, 1 - LEVEL / 2)) * float(line.stderr)
    return Trend(float(line.slope), float(line.stderr), half, float(line.pvalue), sd)
