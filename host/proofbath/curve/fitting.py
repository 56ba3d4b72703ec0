"""Least squares with parameters, covariance and residual scatter: straight, and bounded curved."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from proofbath.curve.record import Floats


@dataclass(frozen=True)
class Fitted:
    """Parameters with their covariance (scaled by the residuals), residual sd, freedom left."""

    parameters: Floats
    covariance: Floats
    residual_sd: float
    degrees_of_freedom: int

    def u(self, gradient: Sequence[float]) -> float:
        """Return the standard uncertainty of a value with this gradient in the parameters."""
        row = np.asarray(gradient, dtype=np.float64)
        return math.sqrt(max(float(row @ self.covariance @ row), 0.0))


def fit_linear(matrix: Floats, values: Floats, sds: Floats | None = None) -> Fitted:
    """Fit values = matrix @ parameters; `sds` (one per value) are relative weights.

    The covariance is scaled by the residuals; without residual freedom it is infinite.
    """
    weight = np.ones(len(values)) if sds is None else 1 / sds
    scaled, aimed = matrix * weight[:, None], values * weight
    parameters, *_ = np.linalg.lstsq(scaled, aimed, rcond=None)
    rest = aimed - scaled @ parameters
    return _fitted(np.asarray(parameters, dtype=np.float64), scaled, rest)


def fit_curve(
    residuals: Callable[[Floats], Floats],
    start: Sequence[float],
    lower: Sequence[float] | None = None,
    upper: Sequence[float] | None = None,
    tolerance: float = 1e-12,
) -> Fitted:
    """Minimise the squares of residuals(parameters) within bounds (none by default)."""
    first = np.asarray(start, dtype=np.float64)
    low = np.full(len(first), -np.inf) if lower is None else np.asarray(lower, dtype=np.float64)
    high = np.full(len(first), np.inf) if upper is None else np.asarray(upper, dtype=np.float64)
    found = least_squares(
        residuals,
        first,
        bounds=(low, high),
        x_scale="jac",
        xtol=tolerance,
        ftol=tolerance,
        gtol=tolerance,
    )
    return _fitted(found.x, np.asarray(found.jac, dtype=np.float64), found.fun)


def _fitted(parameters: Floats, jacobian: Floats, rest: Floats) -> Fitted:
    freedom = len(rest) - len(parameters)
    if freedom <= 0:
        return Fitted(parameters, np.full((len(parameters),) * 2, math.inf), math.inf, 0)
    variance = float(rest @ rest) / freedom
    normal: Floats = np.asarray(np.linalg.pinv(jacobian.T @ jacobian), dtype=np.float64)
    covariance = normal * variance
    return Fitted(parameters, covariance, math.sqrt(variance), freedom)
