"""A straight line through calibration points, with what scatter and references leave unknown."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from proofbath.curve.budget import Combined, Contribution, combine
from proofbath.curve.fitting import fit_linear
from proofbath.errors import InputError

Floats = NDArray[np.float64]
LEAST = 2


@dataclass(frozen=True)
class ReferenceLine:
    """y = intercept + slope (x - at), fitted; covariances of scatter and of the references."""

    at: float
    intercept: float
    slope: float
    scatter: Floats
    references: Floats
    residual_sd: float
    """0 for two points, which leave none."""
    degrees_of_freedom: int

    @property
    def correlation(self) -> float:
        """Correlation coefficient of intercept and slope; 0 where neither is uncertain."""
        both = self.scatter + self.references
        product = math.sqrt(both[0, 0] * both[1, 1])
        return float(both[0, 1] / product) if product > 0 else 0.0

    @property
    def slope_u(self) -> float:
        """Standard uncertainty of the slope."""
        return math.sqrt(self.scatter[1, 1] + self.references[1, 1])

    def value(self, x: float) -> float:
        """Return y at x."""
        return self.intercept + self.slope * (x - self.at)

    def uncertainty(self, x: float) -> Combined:
        """Return the uncertainty of y at x, with its degrees of freedom (GUM G.4.1)."""
        row = np.array([1.0, x - self.at])
        scatter, references = (
            math.sqrt(max(float(row @ part @ row), 0.0)) for part in (self.scatter, self.references)
        )
        freedom = float(self.degrees_of_freedom) or math.inf
        return combine(
            [
                Contribution("scatter", scatter, 1.0, freedom, "A"),
                Contribution("references", references),
            ]
        )


def fit_reference_line(
    x: Sequence[float],
    y: Sequence[float],
    own_u: Sequence[float],
    shared_u: Sequence[float] | None = None,
    at: float | None = None,
) -> ReferenceLine:
    """Fit a line through points whose y carry standard uncertainties of two kinds.

    `own_u` is each point's own, `shared_u` what moves points together (one thermometer's).  From
    three points on the residual scatter counts as in GUM H.3, beside `own_u`: on the safe side.
    Raises InputError for fewer than two points or points at one place.
    """
    xs, ys = np.asarray(x, np.float64), np.asarray(y, np.float64)
    if len(xs) < LEAST or float(np.ptp(xs)) == 0.0:
        raise InputError(
            f"calibration: {len(xs)} points; at least {LEAST} at two places are needed"
        )
    x0 = float(xs.mean()) if at is None else at
    matrix = np.column_stack([np.ones(len(xs)), xs - x0])
    fitted = fit_linear(matrix, ys)
    to_parameters = np.linalg.pinv(matrix)
    own = to_parameters * np.asarray(own_u, np.float64)
    shared = to_parameters @ np.asarray(shared_u or [0.0] * len(xs), np.float64)
    free = fitted.degrees_of_freedom
    return ReferenceLine(
        x0,
        float(fitted.parameters[0]),
        float(fitted.parameters[1]),
        fitted.covariance if free else np.zeros((2, 2)),
        own @ own.T + np.outer(shared, shared),
        fitted.residual_sd if free else 0.0,
        free,
    )
