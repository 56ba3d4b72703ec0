"""The element model fitted to a unit's record: wax, time constants, and how well it fits."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from proofbath.curve.bench_budget import PRIOR_REPEATABILITY_K
from proofbath.curve.branches import Cycle, cycles_of
from proofbath.curve.cycles import features_of_cycles
from proofbath.curve.element import Element
from proofbath.curve.features import CycleFeatures, Wanted
from proofbath.curve.fitting import Fitted, fit_curve
from proofbath.curve.holds import LEAST_CURRENT_A
from proofbath.curve.record import CurveRecord, Floats
from proofbath.curve.samples import Samples, reduce
from proofbath.errors import RecordError

STEP_S = 4.0
BEFORE_START_K = 15.0
NAMES = tuple(Element.__dataclass_fields__)
LOWER = (30.0, 1.5, 10.0, 5.0, 0.15, 0.0, 0.0)
UPPER = (150.0, 12.0, 250.0, 400.0, 5.0, 12.0, 1.0)
GOOD_RMS_MM = 0.05
FULL_SHARE = 0.985


@dataclass(frozen=True)
class ModelFit:
    """The fitted element with standard uncertainties, residual rms and what that is worth."""

    element: Element
    standard_uncertainties: Mapping[str, float]
    residual_rms_mm: float
    start_to_open_c: float
    closing_c: float
    lag_s: Mapping[float, float]
    quality: str

    def to_json(self) -> dict[str, Any]:
        """Return parameters with uncertainties, derived values and fit quality."""
        return {
            "parameters": {
                name: {
                    "value": getattr(self.element, name),
                    "standard_uncertainty": self.standard_uncertainties[name],
                }
                for name in NAMES
            },
            "residual_rms_mm": self.residual_rms_mm,
            "start_to_open_c": self.start_to_open_c,
            "closing_c": self.closing_c,
            "lag_s": {f"{lift_mm:g}": lag_s for lift_mm, lag_s in self.lag_s.items()},
            "quality": self.quality,
        }


def fit_model(record: CurveRecord, threshold_mm: float = 0.1, probe_lag_s: float = 0.0) -> ModelFit:
    """Fit the element model to the unpowered cycles of a record by bounded least squares.

    Each cycle may be shifted in temperature against a prior of 0.13 K, its scatter. Lags are
    those behind the bath only if the bath probe's own lag is given.
    Uncertainties are those of the residuals only, for a model of one wax temperature. Raises
    RecordError when no unpowered cycle rises, falls and closes.
    """
    samples, _ = reduce(record, probe_lag_s)
    cycles = features_of_cycles(samples, cycles_of(samples), Wanted(threshold_mm))
    whole = [
        c
        for c in cycles
        if c.start is not None and len(c.falling) > 20 and not _heated(samples, c.cycle)
    ]
    if not whole:
        raise RecordError(
            f"{record.name}: the model needs an unpowered cycle that starts shut and falls"
        )
    pieces = [_piece(samples, c) for c in whole]

    def residuals(parameters: Floats) -> Floats:
        element = Element(*parameters[: len(NAMES)].tolist())
        shifts_k = parameters[len(NAMES) :]
        rest = [
            (element.lift_mm(bath_c - shift_k, STEP_S) - lift_mm)[used]
            for (bath_c, lift_mm, used), shift_k in zip(pieces, shifts_k.tolist(), strict=True)
        ]
        return np.concatenate([*rest, shifts_k / PRIOR_REPEATABILITY_K * GOOD_RMS_MM])

    first = _first_guess(float(np.mean([c.start.bath_c for c in whole if c.start])))
    shifts = [0.0] * len(pieces)
    lower, upper = [*LOWER, *(-2.0 for _ in pieces)], [*UPPER, *(2.0 for _ in pieces)]
    fitted = fit_curve(residuals, [*first, *shifts], lower, upper, tolerance=1e-7)
    return _result(fitted, residuals(fitted.parameters)[: -len(pieces)], threshold_mm)


def _heated(samples: Samples, cycle: Cycle) -> bool:
    amps = samples.element_a
    return amps is not None and bool((amps[cycle.first : cycle.end] > LEAST_CURRENT_A).any())


def _piece(samples: Samples, c: CycleFeatures) -> tuple[Floats, Floats, np.ndarray]:
    """Bath and zeroed lift of a cycle every 4 s from 15 K below the start; the stop left out."""
    part = samples.part(c.cycle.first, c.cycle.end)
    assert c.start is not None
    assert c.zero is not None
    rising = part.bath_c[: c.cycle.top - c.cycle.first]
    cold = np.flatnonzero(rising < c.start.bath_c - BEFORE_START_K)
    part = part.part(int(cold[-1]) if len(cold) else 0, len(part))
    grid_s = np.arange(part.t_s[0], part.t_s[-1], STEP_S)
    bath_c = np.interp(grid_s, part.t_s, part.bath_c)
    lift_mm = np.interp(grid_s, part.t_s, part.lift_mm - c.zero.reading_mm(part.bath_c))
    most = float(lift_mm.max())
    resting = np.abs(np.gradient(lift_mm, STEP_S)) < 1e-5
    return bath_c, lift_mm, ~((lift_mm > FULL_SHARE * most) & resting)


def _first_guess(start_c: float) -> list[float]:
    """A usual element whose level is set so that it starts where this one does."""
    guess = Element(start_c + 8.0, 4.2, 90.0, 0.0, 0.8, 2.5, 0.04)
    level_mm = guess.drive_mm(start_c - 0.6)
    values = [getattr(guess, name) for name in NAMES]
    values[NAMES.index("level_mm")] = level_mm
    return values


def _result(fitted: Fitted, rest: Floats, threshold_mm: float) -> ModelFit:
    element = Element(*fitted.parameters[: len(NAMES)].tolist())
    rms_mm = float(np.sqrt(np.mean(rest**2)))
    sds = np.sqrt(np.diag(fitted.covariance))[: len(NAMES)]
    quality = (
        f"good: the model follows the record within {rms_mm:.3f} mm rms"
        if rms_mm <= GOOD_RMS_MM
        else f"poor: {rms_mm:.3f} mm rms, more than {GOOD_RMS_MM:g} mm; do not rely on it"
    )
    lags = {lift_mm: element.lag_s(lift_mm) for lift_mm in (0.1, 1.0, 4.0, 8.0)}
    return ModelFit(
        element,
        dict(zip(NAMES, sds.tolist(), strict=True)),
        rms_mm,
        element.rising_c(threshold_mm),
        element.falling_c(threshold_mm),
        lags,
        quality,
    )
