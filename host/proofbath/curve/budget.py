"""An uncertainty budget after the GUM: contributions, correlations, coverage factor."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from scipy import stats

LEVEL = 0.95
MANY = 1e6
"""Degrees of freedom from which Student's t is the normal distribution."""


@dataclass(frozen=True)
class Contribution:
    """One input of a budget: its standard uncertainty in its own unit, and what it does.

    `sensitivity` turns it into the result's unit; `degrees_of_freedom` may be infinite;
    `standard_uncertainty` None means that nobody supplied it: listed, not counted.
    """

    name: str
    standard_uncertainty: float | None
    sensitivity: float = 1.0
    degrees_of_freedom: float = math.inf
    evaluation: str = "B"
    note: str = ""

    @property
    def share(self) -> float:
        """The signed contribution in the result's unit; 0 where not supplied."""
        return self.sensitivity * (self.standard_uncertainty or 0.0)


@dataclass(frozen=True)
class Combined:
    """A combined standard uncertainty with its effective degrees of freedom and coverage factor."""

    standard_uncertainty: float
    degrees_of_freedom: float
    coverage_factor: float

    @property
    def expanded_uncertainty(self) -> float:
        """Half width of the coverage interval."""
        return self.coverage_factor * self.standard_uncertainty


def combine(
    contributions: Sequence[Contribution],
    correlations: Mapping[tuple[str, str], float] | None = None,
    level: float = LEVEL,
) -> Combined:
    """Combine contributions by GUM (JCGM 100:2008) eq. 13 or 16 and G.2b.

    `correlations` holds coefficients by pairs of names. Degrees of freedom are rounded as G.4.1
    does in its example: to the nearest hundredth before truncation to a whole number.
    """
    total = sum(item.share**2 for item in contributions)
    shares = {item.name: item.share for item in contributions}
    for (one, other), coefficient in (correlations or {}).items():
        total += 2 * coefficient * shares[one] * shares[other]
    total = max(total, 0.0)
    spread = sum(item.share**4 / item.degrees_of_freedom for item in contributions)
    freedom = total**2 / spread if spread > 0 else math.inf
    return Combined(math.sqrt(total), freedom, coverage_factor(freedom, level))


def coverage_factor(degrees_of_freedom: float, level: float = LEVEL) -> float:
    """Return Student's t for a two-sided coverage `level` (GUM table G.2)."""
    if degrees_of_freedom > MANY:
        return float(stats.norm.ppf(0.5 + level / 2))
    whole = max(1, math.floor(round(degrees_of_freedom, 2)))
    return float(stats.t.ppf(0.5 + level / 2, whole))
