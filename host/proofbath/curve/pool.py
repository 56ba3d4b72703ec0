"""What many units of a type teach for the next: pooled repeatability, the type's lag and shift."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from proofbath.curve.bench_budget import BenchBudget
from proofbath.curve.drive import K_PER_W_SD, NOMINAL_K_PER_W
from proofbath.curve.lag import PRIOR_LAG_S, PRIOR_LAG_SD_S
from proofbath.curve.result import CurveResult

PRIOR_UNITS = 3.0
SMALLEST_LAG_SD_S = 1.0


def pooled(bench: BenchBudget, results: Sequence[CurveResult]) -> BenchBudget:
    """Return the bench's budget with repeatability, lag and shift pooled over results of one type.

    Results may be of many nights; those with a trust finding that spoils a value add nothing to
    it. Means and sds of lag and heater shift between units are steadied by their marked priors as
    if by 3 units.
    """
    squares, freedom = 0.0, 0.0
    lags, shifts = [], []
    for result in results:
        scatter = result.repeatability_k
        if scatter.value is not None and scatter.standard_uncertainty is not None:
            own = scatter.degrees_of_freedom
            squares, freedom = squares + own * scatter.value**2, freedom + own
        lags += [result.lag_s.value] if result.lag_s.value is not None else []
        shifts += [result.shift_k_per_w.value] if result.shift_k_per_w.value is not None else []
    learnt: dict[str, float] = {}
    if freedom > 0:
        learnt |= {"repeatability_k": math.sqrt(squares / freedom), "repeatability_dof": freedom}
    if lags:
        mean_s, sd_s = _steadied(lags, PRIOR_LAG_S, PRIOR_LAG_SD_S)
        learnt |= {"type_lag_s": mean_s, "type_lag_sd_s": max(sd_s, SMALLEST_LAG_SD_S)}
    if shifts:
        mean, sd = _steadied(shifts, -NOMINAL_K_PER_W, K_PER_W_SD)
        learnt |= {"type_shift_k_per_w": mean, "type_shift_sd_k_per_w": sd}
    return bench.model_copy(update=learnt)


def _steadied(values: Sequence[float], prior: float, prior_sd: float) -> tuple[float, float]:
    """Mean and sd between units, steadied by a prior as if by 3 units."""
    count = len(values)
    mean = (PRIOR_UNITS * prior + sum(values)) / (PRIOR_UNITS + count)
    squares = PRIOR_UNITS * prior_sd**2 + float(np.sum((np.array(values) - mean) ** 2))
    return mean, math.sqrt(squares / (PRIOR_UNITS + count))
