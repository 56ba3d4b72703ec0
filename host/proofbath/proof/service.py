"""What a log from the engine says of its thermostat: where it regulates, and what is wrong.

All limits here are common practice, no source, unless they are arithmetic.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np

from proofbath.proof.compare import trend
from proofbath.proof.engine_log import EngineLog
from proofbath.proof.engine_moves import Oscillation, lively_of, oscillation_of

Floats = np.ndarray

NEAR_K = 3.0
"""The regulated part begins and ends where the coolant is this near to its level."""
WARM_K = 15.0
WARMING_K_PER_MIN = 0.3
REGULATED_S = 600.0
ROBUST = 1.349
"""Quartile range of a normal distribution in sd."""
PEAK_K, PEAK_SDS = 5.0, 4.0
SUDDEN_S, PEAK_S = 60.0, 300.0
BLOCKS = 10
DRIFT_K, DRIFT_P = 2.0, 0.01
LOG_TO_LOG_K = 1.0
"""Weather, load and driver move the regulated temperature from log to log by this sd."""


class Peak(NamedTuple):
    """A sudden peak: when, its top, how far above the regulated temperature, how long."""

    t_s: float
    top_c: float
    above_k: float
    lasts_s: float


class Part(NamedTuple):
    """Calm or lively stretches of a log: median temperature, and their share of the time."""

    coolant_c: float
    share: float


class Service(NamedTuple):
    """What one log says; `reason` tells why there is no regulated temperature.

    `u_c` is the standard uncertainty of the mean within this log; the engine's own sensor, which
    nobody calibrated, is not in it. `idle` and `driving` are a guess from calm and lively
    stretches, None with `parts_reason` where they cannot be told apart.
    """

    regulated_c: float | None
    reason: str | None = None
    u_c: float | None = None
    from_s: float | None = None
    to_s: float | None = None
    spread_k: float | None = None
    low_c: float | None = None
    high_c: float | None = None
    idle: Part | None = None
    driving: Part | None = None
    parts_reason: str | None = None
    oscillation: Oscillation | None = None
    peaks: tuple[Peak, ...] = ()
    drift_k_per_h: float | None = None
    drifts: bool = False
    warming: bool = False
    """There is no level because the engine still warms."""

    def remarks(self) -> list[str]:
        """Return what a person should know or do, one line each."""
        lines = []
        if self.peaks:
            most = max(self.peaks, key=lambda peak: peak.above_k)
            lines.append(
                f"{len(self.peaks)} sudden peaks, the highest {most.above_k:.0f} K above at"
                f" {most.t_s:.0f} s: likely trapped air; bleed with the cabin heater open, from"
                " cold: a hot cooling system scalds when opened (common practice, no source)"
            )
        if self.oscillation:
            lines.append(
                f"swings by ± {self.oscillation.amplitude_k:.1f} K every"
                f" {self.oscillation.period_s:.0f} s"
            )
        if self.drifts and self.drift_k_per_h is not None:
            lines.append(drift_text(self.drift_k_per_h, "K/h"))
        return lines

    def to_json(self) -> dict[str, Any]:
        """Return the findings as they are kept and printed."""
        shown = self._asdict()
        for name in ("idle", "driving", "oscillation"):
            part = shown[name]
            shown[name] = None if part is None else part._asdict()
        return shown | {
            "peaks": [peak._asdict() for peak in self.peaks],
            "remarks": self.remarks(),
        }


def drift_text(slope: float, unit: str) -> str:
    """Return what a slow drift of the regulated temperature may mean."""
    meaning = "it may lose wax, or the cooling may foul" if slope > 0 else "it may not close fully"
    return (
        f"drifts slowly by {slope:+.2g} {unit}: a failing unit; {meaning}; take it out and measure"
        " it (common practice, no source)"
    )


def analyse_log(log: EngineLog) -> Service:
    """Return what a log says of its thermostat."""
    even = log.on_grid()
    found = _regulated(even)
    if isinstance(found, _NoLevel):
        return Service(None, found.reason, warming=found.warming)
    step_s = float(even.t_s[1] - even.t_s[0])
    t_s, coolant_c = even.t_s[found], even.coolant_c[found]
    level_c = float(np.nanmedian(coolant_c))
    sd_k = _robust_sd(coolant_c)
    limit_c = level_c + max(PEAK_K, PEAK_SDS * sd_k)
    peaks, high = _peaks(t_s, coolant_c, level_c, limit_c, step_s)
    normal_c = np.where(high, math.nan, coolant_c)
    oscillation = oscillation_of(normal_c, step_s)
    lively = None if oscillation else lively_of(normal_c, step_s)
    idle, driving = _parts(normal_c, lively)
    steady = _larger_part(normal_c, lively)
    drift, drifts = _drift(t_s, steady)
    low_c, high_c = np.nanpercentile(normal_c, [5, 95])
    return Service(
        float(np.nanmedian(normal_c)),
        None,
        _u_of_mean(normal_c),
        float(t_s[0]),
        float(t_s[-1]),
        _robust_sd(normal_c),
        float(low_c),
        float(high_c),
        idle,
        driving,
        _parts_reason(oscillation, lively),
        oscillation,
        peaks,
        drift,
        drifts,
    )


def _robust_sd(values: Floats) -> float:
    quarter, three = np.nanpercentile(values, [25, 75])
    return float(three - quarter) / ROBUST


class _NoLevel(NamedTuple):
    reason: str
    warming: bool


def _regulated(even: EngineLog) -> slice | _NoLevel:
    """Return the part from the first to the last time near the level, or why there is none."""
    hot_c = float(np.nanpercentile(even.coolant_c, 90))
    warm = even.coolant_c > hot_c - WARM_K
    first = int(np.argmax(warm & (even.coolant_c > hot_c - NEAR_K)))
    level_c = float(np.nanmedian(even.coolant_c[first:][warm[first:]]))
    near = np.flatnonzero(even.coolant_c >= level_c - NEAR_K)
    t_s, part = even.t_s, slice(int(near[0]), int(near[-1]) + 1)
    lasts_s = float(t_s[near[-1]] - t_s[near[0]])
    last = slice(int(np.searchsorted(t_s, t_s[-1] - REGULATED_S)), None)
    rate = _k_per_min(even, last)
    if rate > WARMING_K_PER_MIN and (
        lasts_s < REGULATED_S or _k_per_min(even, part) > WARMING_K_PER_MIN
    ):
        reason = f"still warming by {rate:.2g} K/min; log until the engine is warm through"
        return _NoLevel(reason, warming=True)
    if lasts_s < REGULATED_S:
        reason = (
            f"near its level of {level_c:.1f} °C for {lasts_s:.0f} s only, at least"
            f" {REGULATED_S:.0f} s needed; log a longer drive"
        )
        return _NoLevel(reason, warming=False)
    return part


def _k_per_min(even: EngineLog, part: slice) -> float:
    """Return the slope of a part of a log; 0 where it is all but empty."""
    inside = np.isfinite(even.coolant_c[part])
    if inside.sum() < 3:
        return 0.0
    line = np.polyfit(even.t_s[part][inside] / 60, even.coolant_c[part][inside], 1)
    return float(line[0])


def _peaks(
    t_s: Floats, coolant_c: Floats, level_c: float, limit_c: float, step_s: float
) -> tuple[tuple[Peak, ...], np.ndarray]:
    """Return sudden peaks, and which samples belong to them: all above half their height."""
    high = np.zeros(len(t_s), bool)
    peaks = list[Peak]()
    half_c = (level_c + limit_c) / 2
    before = round(SUDDEN_S / step_s)
    for first, last in _runs(coolant_c > half_c):
        top = int(first + np.nanargmax(coolant_c[first:last]))
        lasts_s = float(last - first) * step_s
        over = np.flatnonzero(coolant_c[first:last] > limit_c)
        if not len(over) or lasts_s > PEAK_S or over[0] > before:
            continue
        high[first:last] = True
        top_c = float(coolant_c[top])
        peaks.append(Peak(float(t_s[top]), top_c, top_c - level_c, lasts_s))
    return tuple(peaks), high


def _runs(condition: np.ndarray) -> list[tuple[int, int]]:
    """Return (first, one past last) of each stretch where a condition holds."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], condition.astype(int), [0]])))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _parts(values: Floats, lively: np.ndarray | None) -> tuple[Part | None, Part | None]:
    if lively is None:
        return None, None
    idle, driving = (
        Part(float(np.nanmedian(values[which])), float(which.mean())) for which in (~lively, lively)
    )
    return idle, driving


def _parts_reason(oscillation: Oscillation | None, lively: np.ndarray | None) -> str | None:
    if oscillation:
        return "it swings: calm and lively stretches cannot be told apart"
    return "all stretches are equally lively" if lively is None else None


def _larger_part(values: Floats, lively: np.ndarray | None) -> Floats:
    if lively is None:
        return values
    return np.where(lively == (lively.mean() >= 0.5), values, math.nan)


def _block_means(values: Floats) -> list[float]:
    return [
        float(np.nanmean(block)) if np.isfinite(block).any() else math.nan
        for block in np.array_split(values, BLOCKS)
    ]


def _u_of_mean(values: Floats) -> float | None:
    """Standard uncertainty of the mean from the scatter of tenths of the log (batch means)."""
    means = [mean for mean in _block_means(values) if math.isfinite(mean)]
    return float(np.std(means, ddof=1)) / math.sqrt(len(means)) if len(means) > 1 else None


def _drift(t_s: Floats, values: Floats) -> tuple[float | None, bool]:
    """Return the drift of the tenths' means in K/h, and whether it is more than chance."""
    hours = [float(block.mean()) / 3600 for block in np.array_split(t_s, BLOCKS)]
    kept = [(h, m) for h, m in zip(hours, _block_means(values), strict=True) if math.isfinite(m)]
    found = trend([h for h, _ in kept], [m for _, m in kept])
    if found is None:
        return None, False
    moved_k = abs(found.slope) * (kept[-1][0] - kept[0][0])
    return found.slope, moved_k >= DRIFT_K and found.p < DRIFT_P


class Drift(NamedTuple):
    """How the regulated temperature moves from log to log: K a year, 95 % half width."""

    k_per_year: float
    half_width: float
    drifts: bool


def drift_over_logs(days: list[float], regulated_c: list[float], u_c: list[float]) -> Drift | None:
    """Return the weighted line through a unit's logs; None with fewer than two days."""
    if len(set(days)) < 2:
        return None
    x, y = np.array(days) / 365.25, np.array(regulated_c)
    weights = 1 / (np.array(u_c) ** 2 + LOG_TO_LOG_K**2)
    middle = float((weights * x).sum() / weights.sum())
    squares = float((weights * (x - middle) ** 2).sum())
    slope = float((weights * (x - middle) * y).sum()) / squares
    half_width = 1.96 / math.sqrt(squares)
    moved_k = abs(slope) * float(x.max() - x.min())
    return Drift(slope, half_width, moved_k >= DRIFT_K and abs(slope) > half_width)
