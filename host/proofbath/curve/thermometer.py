"""A thermometer's correction curve from comparison points, as GUM H.3 fits it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from proofbath.curve.budget import Contribution
from proofbath.curve.fitting import Fitted, fit_linear
from proofbath.errors import InputError


@dataclass(frozen=True)
class Correction:
    """Correction b(t) = intercept + slope (t - reference) in K, the parameters' correlation kept.

    `common_u_k` is what all points share, e.g. the reference thermometer's own uncertainty.
    """

    reference_c: float
    fitted: Fitted
    common_u_k: float

    @property
    def correlation(self) -> float:
        """Correlation coefficient of intercept and slope."""
        covariance = self.fitted.covariance
        return float(covariance[0, 1] / math.sqrt(covariance[0, 0] * covariance[1, 1]))

    def at(self, bath_c: float) -> float:
        """Return the correction in K to add to a reading."""
        return float(self.fitted.parameters @ self._row(bath_c))

    def u_k(self, bath_c: float) -> float:
        """Return the correction's standard uncertainty in K at a reading."""
        return math.hypot(self.fitted.u(self._row(bath_c).tolist()), self.common_u_k)

    def contributions(self, bath_c: float) -> list[Contribution]:
        """Return what the calibration brings to a budget at a temperature."""
        fit_u_k = self.fitted.u(self._row(bath_c).tolist())
        freedom = float(self.fitted.degrees_of_freedom)
        return [
            Contribution("calibration fit", fit_u_k, 1.0, freedom, "A"),
            Contribution("calibration reference", self.common_u_k),
        ]

    def _row(self, bath_c: float) -> np.ndarray:
        return np.array([1.0, bath_c - self.reference_c])


def fit_correction(
    reading_c: Sequence[float],
    correction_k: Sequence[float],
    reference_c: float | None = None,
    common_u_k: float = 0.0,
) -> Correction:
    """Fit a straight correction to points (reference minus reading, in K, at each reading).

    `reference_c` (mean reading by default, where intercept and slope are uncorrelated) is where
    the intercept holds. Raises InputError below three points or at one temperature only.
    """
    reading = np.asarray(reading_c, dtype=np.float64)
    correction = np.asarray(correction_k, dtype=np.float64)
    if len(reading) < 3 or len(reading) != len(correction):
        raise InputError(f"calibration: {len(reading)} points, at least 3 pairs are needed")
    if float(np.ptp(reading)) < 1.0:
        raise InputError(f"calibration: points span {np.ptp(reading):.2f} K, 1 K is needed")
    at_c = float(reading.mean()) if reference_c is None else reference_c
    matrix = np.column_stack([np.ones(len(reading)), reading - at_c])
    return Correction(at_c, fit_linear(matrix, correction), common_u_k)
