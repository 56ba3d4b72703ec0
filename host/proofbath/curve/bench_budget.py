"""What a bench and a unit type bring to every budget: standard uncertainties known beforehand."""

from __future__ import annotations

import math

from pydantic import Field

from proofbath.description import Described

PRIOR_REPEATABILITY_K = 0.13  # common practice, no source: cycles of one unit, one night
PRIOR_REPEATABILITY_DOF = 6.0
TRUSTED_DOF = 10.0


class BenchBudget(Described):
    """Standard uncertainties of a bench (k = 1); a None was not supplied and is listed as such.

    `repeatability_k`, `type_lag_s` and `type_shift_k_per_w` are pooled over units of the type
    and nights, the latter two with their sd between units;
    `probe_lag_s` is the bath probe's own lag, by which the readings are corrected.
    """

    probe_k: float | None = Field(default=None, ge=0)
    probe_dof: float | None = Field(default=None, gt=0)
    gradient_k: float | None = Field(default=None, ge=0)
    gauge_mm: float | None = Field(default=None, ge=0)
    gauge_relative: float | None = Field(default=None, ge=0)
    probe_lag_s: float | None = Field(default=None, ge=0)
    probe_lag_u_s: float | None = Field(default=None, ge=0)
    night_k: float | None = Field(default=None, ge=0)
    repeatability_k: float | None = Field(default=None, ge=0)
    repeatability_dof: float | None = Field(default=None, gt=0)
    power_relative: float | None = Field(default=None, ge=0)
    lead_ohm: float | None = Field(default=None, ge=0)
    type_lag_s: float | None = Field(default=None, gt=0)
    type_lag_sd_s: float | None = Field(default=None, gt=0)
    type_shift_k_per_w: float | None = Field(default=None, lt=0)
    type_shift_sd_k_per_w: float | None = Field(default=None, gt=0)

    def pooled_repeatability(self) -> tuple[float, float] | None:
        """Return (sd in K, degrees of freedom), steadied by the marked prior below 10 of them."""
        if self.repeatability_k is None:
            return None
        freedom = math.inf if self.repeatability_dof is None else self.repeatability_dof
        if freedom >= TRUSTED_DOF:
            return self.repeatability_k, freedom
        return steadied(self.repeatability_k, freedom)


def steadied(sd_k: float, degrees_of_freedom: float) -> tuple[float, float]:
    """Return a scatter of few degrees of freedom pooled with the marked prior's 0.13 K of 6."""
    total = degrees_of_freedom + PRIOR_REPEATABILITY_DOF
    squares = degrees_of_freedom * sd_k**2 + PRIOR_REPEATABILITY_DOF * PRIOR_REPEATABILITY_K**2
    return math.sqrt(squares / total), total
