"""Crossed gauge study by ANOVA (AIAG MSA): every operator measures every part several times."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from scipy import stats

from proofbath.errors import InputError

POOL_ABOVE_P = 0.25
STUDY_WIDTH_NDC = 1.41


class GaugeStudy(NamedTuple):
    """Standard deviations of a crossed gauge study; an interaction may be pooled away."""

    repeatability: float
    repeatability_dof: int
    reproducibility: float
    interaction: float
    gauge: float
    parts: float
    total: float
    sums_of_squares: tuple[float, float, float, float, float]
    """Parts, operators, interaction, repeatability, total."""
    interaction_p: float
    pooled: bool

    @property
    def gauge_share(self) -> float:
        """The gauge's standard deviation over the total one."""
        return self.gauge / self.total if self.total > 0 else math.nan

    @property
    def distinct_categories(self) -> float:
        """How many groups of parts the gauge tells apart, not rounded."""
        return STUDY_WIDTH_NDC * self.parts / self.gauge if self.gauge > 0 else math.inf


def gauge_study(values: np.ndarray, pool: bool | None = None) -> GaugeStudy:
    """Return the gauge study of values[part, operator, trial].

    The interaction is pooled with the repeatability where its p lies above 0.25, or as `pool` says.
    For a bench, parts are units, operators are stations or persons, trials are reloads.
    Raises InputError for fewer than two of any of them.
    """
    if values.ndim != 3 or min(values.shape) < 2:
        raise InputError(f"gauge study of {values.shape}: two parts, operators and trials at least")
    parts, operators, trials = values.shape
    mean, of_cell = values.mean(), values.mean(axis=2)
    of_part, of_operator = of_cell.mean(axis=1), of_cell.mean(axis=0)
    ss_part = operators * trials * float(np.sum((of_part - mean) ** 2))
    ss_operator = parts * trials * float(np.sum((of_operator - mean) ** 2))
    ss_cell = trials * float(np.sum((of_cell - mean) ** 2))
    ss_total = float(np.sum((values - mean) ** 2))
    ss_inter, ss_error = ss_cell - ss_part - ss_operator, ss_total - ss_cell
    inter_dof, error_dof = (parts - 1) * (operators - 1), parts * operators * (trials - 1)
    ms_inter, ms_error = ss_inter / inter_dof, ss_error / error_dof
    p = float(stats.f.sf(ms_inter / ms_error, inter_dof, error_dof)) if ms_error > 0 else 0.0
    pooled = p > POOL_ABOVE_P if pool is None else pool
    if pooled:
        error_dof += inter_dof
        ms_error = ms_inter = (ss_inter + ss_error) / error_dof
    v_inter = max(0.0, (ms_inter - ms_error) / trials)
    v_operator = max(0.0, (ss_operator / (operators - 1) - ms_inter) / (parts * trials))
    v_part = max(0.0, (ss_part / (parts - 1) - ms_inter) / (operators * trials))
    v_gauge = ms_error + v_operator + v_inter
    return GaugeStudy(
        math.sqrt(ms_error),
        error_dof,
        math.sqrt(v_operator),
        math.sqrt(v_inter),
        math.sqrt(v_gauge),
        math.sqrt(v_part),
        math.sqrt(v_gauge + v_part),
        (ss_part, ss_operator, ss_inter, ss_error, ss_total),
        p,
        pooled,
    )
