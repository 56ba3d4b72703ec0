"""The lag of a unit behind the bath, from what its record supports, and values at zero rate."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np
from scipy.optimize import minimize_scalar

from proofbath.curve.features import CycleFeatures, Event
from proofbath.curve.local import lagged
from proofbath.curve.record import Floats
from proofbath.curve.samples import Samples

# From memory: one-node element model, its population and its lift's slope at the start in mm/K.
PRIOR_LAG_S, PRIOR_LAG_SD_S, PRIOR_SLOPE = 23.0, 7.0, 0.35
CUP_LAG_S = 2.5
TOP_SPAN_K = 2.5
TOP_TAIL_S = 900.0
SHORTEST_TOP_HOLD_S = 120.0
MEMORY_S = 400.0
LAG_SCALE_S = np.geomspace(4.0, 160.0, 16)
# Relaxation at the top reads 12 % low on the one-node element model, whose lag falls off there.
TOP_LAG_LOW, TOP_RELATIVE_U = 0.88, 0.03
SHAPE_RELATIVE_U = 0.045
# A lag grows with the lift's slope, since the wax that moves the pin takes up the latent heat;
# what is left at slope zero, in mm/K, is its sensible heat (one-node element model).
SENSIBLE_MM_PER_K = 0.227


class LagSource(Enum):
    """Where a lag comes from; the value says it in a budget's note."""

    TYPE = "the type's pooled lag"
    PRIOR = "a prior for wax elements"
    TOP_HOLD = "relaxation in the top hold"
    TWO_RATES = "two rates"


@dataclass(frozen=True)
class Lag:
    """A lag in s with its standard uncertainty, and where it comes from."""

    lag_s: float
    u_s: float
    sources: tuple[LagSource, ...]

    @property
    def note(self) -> str:
        """The sources in the words of a budget's note."""
        return "from " + " and ".join(source.value for source in self.sources)

    @property
    def measured(self) -> bool:
        """Whether the unit's own record shows anything of it."""
        return not {LagSource.TWO_RATES, LagSource.TOP_HOLD}.isdisjoint(self.sources)


@dataclass(frozen=True)
class ZeroRate:
    """A temperature at zero rate with the lag that goes with it, and what its value hangs on.

    `cycle_weights` tell how each cycle's scatter enters, `lag_weight` how the lag known
    beforehand enters (K per s); `noise_u_k` is the share of the readings' noise.
    """

    value_c: float
    lag: Lag
    cycle_weights: tuple[float, ...]
    lag_weight_k_per_s: float
    known_lag_u_s: float
    noise_u_k: float


def combine_lags(lags: Sequence[Lag]) -> Lag:
    """Return the mean of independent lags weighted by their variances."""
    weights = np.array([1 / lag.u_s**2 for lag in lags])
    value = float(weights @ np.array([lag.lag_s for lag in lags]) / weights.sum())
    return Lag(
        value, 1 / math.sqrt(weights.sum()), tuple(source for lag in lags for source in lag.sources)
    )


def at_lift(lag: Lag, start_slope_mm_per_k: float, slope_mm_per_k: float) -> Lag:
    """Return the lag at another lift from the opening curve's slopes here and there."""
    share = (slope_mm_per_k + SENSIBLE_MM_PER_K) / (start_slope_mm_per_k + SENSIBLE_MM_PER_K)
    share = min(max(share, 0.3), 4.0)
    moved = abs(share - 1) * SHAPE_RELATIVE_U
    return Lag(lag.lag_s * share, math.hypot(lag.u_s, moved * lag.lag_s) * share, lag.sources)


def zero_rate(events: Sequence[Event], known: Lag, cycle_sd_k: float) -> ZeroRate:
    """Return the temperature at zero rate from events of one lift at their rates.

    Least squares of T = T0 + rate lag over the cycles, with the lag known beforehand as one more
    observation: this shrinks the unit's two-rate slope toward it by the two variances.
    """
    rates = np.array([event.lag_rate_k_per_min / 60 for event in events])
    baths = np.array([event.bath_c for event in events])
    noise = np.array([event.noise_u_k for event in events])
    matrix = np.column_stack([np.ones(len(events)), rates])
    matrix = np.vstack([matrix, [0.0, 1.0]])
    sds = np.append(np.hypot(noise, max(cycle_sd_k, 1e-3)), max(known.u_s, 1e-3))
    scaled = matrix / sds[:, None]
    covariance = np.linalg.inv(scaled.T @ scaled)
    weights = covariance @ scaled.T / sds
    value, lag_s = weights @ np.append(baths, known.lag_s)
    return ZeroRate(
        float(value),
        Lag(float(lag_s), math.sqrt(covariance[1, 1]), _two_rates(rates, known)),
        tuple(weights[0, :-1].tolist()),
        float(weights[0, -1]),
        known.u_s,
        float(np.sqrt(((weights[0, :-1] * noise) ** 2).sum())),
    )


def _two_rates(rates_k_per_s: Floats, known: Lag) -> tuple[LagSource, ...]:
    apart = np.ptp(np.abs(rates_k_per_s)) > 0.25 * np.abs(rates_k_per_s).max()
    return (LagSource.TWO_RATES, *known.sources) if apart else known.sources


def lag_from_top(features: CycleFeatures, start_slope_mm_per_k: float) -> Lag | None:
    """Return the lag at the start from how the lift relaxes when the ramp ends in the top hold.

    The lag is sought that makes lift over the followed temperature one curve through the ramp's
    end and the hold; None without a hold after a ramp or with the valve at its stop.
    """
    cycle, rising = features.cycle, features.rising
    if features.zero is None or cycle.fall - cycle.top < 5:
        return None
    hold_s = rising.t_s[-1] - rising.t_s[cycle.top - cycle.first]
    used = (rising.bath_c > rising.bath_c.max() - TOP_SPAN_K) & (
        rising.t_s > rising.t_s[-1] - TOP_TAIL_S
    )
    if hold_s < SHORTEST_TOP_HOLD_S or used.sum() < 20:
        return None
    rising, used = _from(rising, used)
    lift_mm = (rising.lift_mm - features.zero.reading_mm(rising.bath_c))[used]

    def misfit(lag_s: float) -> tuple[float, float]:
        return _one_curve(rising.t_s, rising.bath_c, used, lift_mm, lag_s)

    misfits = [misfit(lag_s)[0] for lag_s in LAG_SCALE_S.tolist()]
    best = int(np.argmin(misfits))
    if best in (0, len(misfits) - 1):
        return None
    found = minimize_scalar(
        lambda lag_s: misfit(lag_s)[0],
        bounds=(LAG_SCALE_S[best - 1], LAG_SCALE_S[best + 1]),
        method="bounded",
        options={"xatol": 0.05},
    )
    residual_mm, slope = misfit(float(found.x))
    blurred = min(misfits[best - 1], misfits[best + 1])
    if slope < 0.1 or blurred < 2 * residual_mm:
        return None
    lag_s = float(found.x) / TOP_LAG_LOW
    top = Lag(lag_s, TOP_RELATIVE_U * lag_s, (LagSource.TOP_HOLD,))
    lag = at_lift(top, slope, start_slope_mm_per_k)
    return Lag(lag.lag_s, math.hypot(lag.u_s, SHAPE_RELATIVE_U * lag.lag_s), lag.sources)


def _from(rising: Samples, used: np.ndarray) -> tuple[Samples, np.ndarray]:
    """Leave out what lies so far before the used samples that no lag remembers it."""
    start = int(np.searchsorted(rising.t_s, rising.t_s[used][0] - MEMORY_S))
    return rising.part(start, len(rising)), used[start:]


def _one_curve(
    t_s: Floats, bath_c: Floats, used: np.ndarray, lift_mm: Floats, lag_s: float
) -> tuple[float, float]:
    """Residual sd in mm and end slope in mm/K of a parabola of lift over followed temperature.

    The wax holds its melt while it cools less than its play, hence the running maximum.
    """
    felt = lagged(t_s, lagged(t_s, bath_c, CUP_LAG_S), lag_s - CUP_LAG_S)
    felt_c = np.maximum.accumulate(felt)[used] - bath_c[-1]
    scale = max(float(np.ptp(felt_c)), 1e-6)
    matrix = np.vander(felt_c / scale, 3)
    solution, *_ = np.linalg.lstsq(matrix, lift_mm, rcond=None)
    rest = lift_mm - matrix @ solution
    return math.sqrt(float(rest @ rest) / len(rest)), float(solution[-2]) / scale
