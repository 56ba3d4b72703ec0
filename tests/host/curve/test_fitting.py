"""The bounded least squares against NIST's certified curve."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from proofbath.curve.fitting import fit_curve

DATA = Path(__file__).parents[2] / "data"


@pytest.mark.parametrize("start", [(100, 10, 1, 1), (700, 5, 0.75, 1.3)])
def test_rat43_of_nist_from_both_starts(start: tuple[float, ...]) -> None:
    """NIST StRD Rat43; NIST prints 9 degrees of freedom, 15 points less 4 parameters are 11."""
    rows = list(csv.DictReader((DATA / "strd_rat43_data.csv").read_text().splitlines()))
    x = np.array([float(row["x"]) for row in rows])
    y = np.array([float(row["y"]) for row in rows])

    def residuals(b: np.ndarray) -> np.ndarray:
        return np.asarray(b[0] / (1 + np.exp(b[1] - b[2] * x)) ** (1 / b[3]) - y)

    found = fit_curve(residuals, start, lower=(1, -50, 0.01, 0.05), upper=(1e4, 50, 10, 50))
    certified = (699.6415127, 5.2771253025, 0.75962938329, 1.2792483859)
    sds = (16.302297817, 2.0828735829, 0.19566123451, 0.68761936385)
    assert found.parameters == pytest.approx(certified, rel=1e-6)
    assert np.sqrt(np.diag(found.covariance)) == pytest.approx(sds, rel=1e-5)
    assert found.residual_sd == pytest.approx(28.262414662, rel=1e-9)
    assert found.degrees_of_freedom == 11
