"""An uncertainty budget after the GUM: contributions, correlations, coverage factor."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from scipy import stats

from proofbath.quantity.quantity import Contribution as Contribution

LEVEL = 0.95
MANY = 1e6
"""Degrees of freedom from which Student's t is the normal distribution."""


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
