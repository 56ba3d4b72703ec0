"""What many units of a type teach for the next: pooled repeatability and the type's lag."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from proofbath.curve.bench_budget import BenchBudget
from proofbath.curve.lag import PRIOR_LAG_S, PRIOR_LAG_SD_S
from proofbath.curve.result import CurveResult

PRIOR_UNITS = 3.0
SMALLEST_LAG_SD_S = 1.0


def pooled(bench: BenchBudget, results: Sequence[CurveResult]) -> BenchBudget:
    """Return the bench's budget with repeatability and lag pooled over results of one type.

    Results may be of many nights; those with a trust finding that spoils a value add nothing to
    it. The lag's mean and sd between units are steadied by the marked prior as if by 3 units.
    """
    squares, freedom, lags = 0.0, 0.0, []
    for result in results:
        scatter, lag = result.repeatability_k, result.lag_s
        if scatter.value is not None and scatter.combined is not None:
            own = scatter.combined.degrees_of_freedom
            squares, freedom = squares + own * scatter.value**2, freedom + own
        if lag.value is not None:
            lags.append(lag.value)
    learnt: dict[str, float] = {}
    if freedom > 0:
        learnt |= {"repeatability_k": math.sqrt(squares / freedom), "repeatability_dof": freedom}
    if lags:
        count = len(lags)
        mean_s = (PRIOR_UNITS * PRIOR_LAG_S + sum(lags)) / (PRIOR_UNITS + count)
        spread = float(np.sum((np.array(lags) - mean_s) ** 2))
        variance = (PRIOR_UNITS * PRIOR_LAG_SD_S**2 + spread) / (PRIOR_UNITS + count)
        learnt["type_lag_s"] = mean_s
        learnt["type_lag_sd_s"] = max(math.sqrt(variance), SMALLEST_LAG_SD_S)
    return bench.model_copy(update=learnt)
