"""A small unit with closed-form answers: a straight opening line, a constant lag, play, a stop."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from proofbath.curve.record import CurveRecord

Floats = npt.NDArray[np.float64]
STEP_S = 0.1


@dataclass(frozen=True)
class StraightUnit:
    """Lift = slope (T - opens) for a wax that follows the bath by a constant lag, with play."""

    opens_c: float = 82.0
    slope_mm_per_k: float = 0.5
    play_k: float = 3.0
    lag_s: float = 20.0
    stop_mm: float = 20.0

    def start_c(self, threshold_mm: float) -> float:
        """True rising temperature of a lift at zero rate."""
        return self.opens_c + threshold_mm / self.slope_mm_per_k

    def closing_c(self, threshold_mm: float) -> float:
        """True falling temperature of a lift at zero rate."""
        return self.start_c(threshold_mm) - self.play_k

    def lift_mm(self, bath_c: Floats) -> Floats:
        """Lift under a bath sampled every 0.1 s, by exact steps of the lag and the play."""
        share = 1 - np.exp(-STEP_S / self.lag_s) if self.lag_s else 1.0
        wax = melt = bath_c[0]
        melts = np.empty(len(bath_c))
        for index, bath in enumerate(bath_c.tolist()):
            wax += share * (bath - wax)
            melt = max(wax, min(wax + self.play_k, melt))
            melts[index] = melt
        return np.clip(self.slope_mm_per_k * (melts - self.opens_c), 0, self.stop_mm)


def ramps(*corners: tuple[float, float]) -> Floats:
    """Bath temperature every 0.1 s from (temperature, K/min to get there or hold in s) corners.

    A corner at the present temperature is a hold of that many seconds.
    """
    parts = [np.array([corners[0][0]])]
    for to_c, amount in corners[1:]:
        now_c = parts[-1][-1]
        span_s = amount if to_c == now_c else abs(to_c - now_c) / amount * 60
        parts.append(np.linspace(now_c, to_c, round(span_s / STEP_S) + 1)[1:])
    return np.concatenate(parts)


def night(rates_k_per_min: tuple[float, ...] = (1.0, 1.0, 0.5), top_c: float = 99.0) -> Floats:
    """A night's bath: heating up, soak, then a cycle per rate with a hold and -0.5 K/min back."""
    corners: list[tuple[float, float]] = [(40.0, 0.0), (70.0, 5.0), (70.0, 300.0)]
    for rate in rates_k_per_min:
        corners += [(top_c, rate), (top_c, 300.0), (70.0, 0.5), (70.0, 120.0)]
    return ramps(*corners)


def record_of(
    bath_c: Floats,
    lift_mm: Floats,
    seed: int | None = 1,
    gauge_noise_mm: float = 0.004,
    probe_noise_k: float = 0.003,
    zero_mm: float = 0.4,
    expansion_mm_per_k: float = 0.0012,
) -> CurveRecord:
    """A record as a bench makes it; noise and 1.2 um steps only with a seed."""
    t_s = np.arange(len(bath_c), dtype=float) * STEP_S
    shown_mm = lift_mm + zero_mm + expansion_mm_per_k * bath_c
    if seed is not None:
        draw = np.random.default_rng(seed)
        shown_mm = shown_mm + gauge_noise_mm * draw.standard_normal(len(bath_c))
        shown_mm = np.round(shown_mm / 0.00122) * 0.00122
        bath_c = bath_c + probe_noise_k * draw.standard_normal(len(bath_c))
    return CurveRecord(t_s, bath_c, shown_mm, name="unit")
