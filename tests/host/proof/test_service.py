"""Engine logs whose truth is made: levels, swings, peaks, stretches, drift; and the offset."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from proofbath.proof.engine_log import EngineLog, read_log
from proofbath.proof.engine_offset import (
    PRIOR_BETWEEN_K,
    PRIOR_BETWEEN_LOG_SD,
    PRIOR_MEAN_K,
    PRIOR_MEAN_SD_K,
    Seen,
    bench_target,
    usual_offset,
)
from proofbath.proof.service import Service, analyse_log, drift_over_logs

LEVEL_C = 87.0


def wandering(rng: np.random.Generator, count: int, sd: float, memory_s: float) -> np.ndarray:
    """Return a first-order random walk drawn back to 0, as loads and air flow make it."""
    keep = math.exp(-1 / memory_s)
    noise = sd * math.sqrt(1 - keep**2) * rng.standard_normal(count)
    noise[0] = sd * rng.standard_normal()
    values = np.empty(count)
    values[0] = noise[0]
    for n in range(1, count):
        values[n] = keep * values[n - 1] + noise[n]
    return values


def drive(seed: int = 1, hours: float = 1.5, sd: float = 0.5) -> EngineLog:
    """Return a cold start, warmed through in about 10 min, then regulated about 87 °C."""
    rng, t_s = np.random.default_rng(seed), np.arange(0.0, hours * 3600)
    warm_c = 15.0 + (LEVEL_C - 15.0) * np.minimum(1.0, t_s / 600.0)
    return EngineLog(t_s, warm_c + wandering(rng, len(t_s), sd, 40.0))


def with_added(log: EngineLog, added_k: np.ndarray) -> Service:
    return analyse_log(EngineLog(log.t_s, log.coolant_c + added_k))


def test_a_plain_drive_has_its_level_and_nothing_else() -> None:
    found = analyse_log(drive())
    assert found.regulated_c == pytest.approx(LEVEL_C, abs=0.15)
    assert found.spread_k == pytest.approx(0.5, abs=0.1)
    assert found.low_c is not None
    assert found.high_c is not None
    assert found.high_c - found.low_c == pytest.approx(2 * 1.645 * 0.5, abs=0.3)  # normal
    assert found.from_s == pytest.approx(600, abs=30)
    assert (found.peaks, found.oscillation, found.drifts) == ((), None, False)
    assert found.remarks() == []


def test_the_uncertainty_covers_the_level() -> None:
    """Closed form: a mean over T of noise with memory m has variance 2 sd² m / T."""
    offs, us = [], []
    for seed in range(60):
        found = analyse_log(drive(seed, hours=1.0, sd=1.0))
        assert found.regulated_c is not None
        assert found.u_c is not None
        offs.append(found.regulated_c - LEVEL_C)
        us.append(found.u_c)
    assert np.mean(us) == pytest.approx(math.sqrt(2 * 40.0 / 3000.0), rel=0.2)
    assert np.mean(np.abs(offs) < 2 * np.array(us)) > 0.85


@pytest.mark.parametrize(("period_s", "amplitude_k"), [(35.0, 2.0), (90.0, 1.2), (240.0, 3.0)])
def test_a_swing_is_found_with_period_and_amplitude(period_s: float, amplitude_k: float) -> None:
    log = drive(2)
    found = with_added(log, amplitude_k * np.sin(2 * np.pi * log.t_s / period_s))
    assert found.oscillation is not None
    assert found.oscillation.period_s == pytest.approx(period_s, rel=0.01)
    assert found.oscillation.amplitude_k == pytest.approx(amplitude_k, rel=0.15)
    assert found.parts_reason == "it swings: calm and lively stretches cannot be told apart"


def test_wandering_is_seldom_called_a_swing_or_a_drift() -> None:
    found = [analyse_log(drive(seed, sd=1.0)) for seed in range(100, 160)]
    assert sum(one.oscillation is not None for one in found) <= 2
    assert sum(one.drifts for one in found) <= 2
    assert sum(bool(one.peaks) for one in found) <= 2
    assert sum(one.idle is not None for one in found) <= 2


def test_sudden_peaks_point_to_trapped_air() -> None:
    log = drive(3)
    added = np.zeros_like(log.t_s)
    for at_s in (1800.0, 3300.0):
        added += 14.0 * np.exp(-0.5 * ((log.t_s - at_s) / 12.0) ** 2)
    found = with_added(log, added)
    assert [peak.t_s for peak in found.peaks] == pytest.approx([1800.0, 3300.0], abs=12)
    assert all(peak.above_k == pytest.approx(14.0, abs=2.0) for peak in found.peaks)
    assert found.regulated_c == pytest.approx(LEVEL_C, abs=0.2)
    words = found.remarks()[0]
    assert "trapped air" in words
    assert "cabin heater open" in words
    assert "common practice, no source" in words


def test_a_slow_overheating_is_no_peak() -> None:
    log = drive(4)
    rise = 14.0 * np.clip((log.t_s - 3000.0) / 900.0, 0.0, 1.0)
    assert with_added(log, rise).peaks == ()


def test_calm_and_lively_stretches_are_told_apart() -> None:
    """Driving 87 °C and restless, idling 84 °C and calm, in turns of ten minutes."""
    rng, log = np.random.default_rng(5), drive(5, hours=2.0, sd=0.05)
    driving = (log.t_s // 600) % 2 == 0
    restless = wandering(rng, len(log.t_s), 1.2, 15.0)
    found = with_added(log, np.where(driving, restless, -3.0))
    assert found.driving is not None
    assert found.idle is not None
    assert found.driving.coolant_c == pytest.approx(LEVEL_C, abs=0.3)
    assert found.idle.coolant_c == pytest.approx(LEVEL_C - 3.0, abs=0.3)
    assert found.idle.share == pytest.approx(0.5, abs=0.1)
    assert not found.drifts


def test_a_slow_drift_is_a_failing_unit() -> None:
    log = drive(6)
    found = with_added(log, -2.5 * log.t_s / 3600)
    assert found.drift_k_per_h == pytest.approx(-2.5, abs=0.4)
    assert found.drifts
    assert "failing unit" in found.remarks()[-1]


def test_an_engine_that_never_warms_through_has_no_level() -> None:
    t_s = np.arange(0.0, 2400.0)
    warming = analyse_log(EngineLog(t_s, 15.0 + t_s / 60))
    assert warming.regulated_c is None
    assert warming.warming
    assert "still warming by 1 K/min" in str(warming.reason)
    slower = analyse_log(EngineLog(t_s, 70.0 + 0.4 * t_s / 60))
    assert "still warming by 0.4 K/min" in str(slower.reason)


def test_findings_are_plain_json() -> None:
    shown = analyse_log(drive()).to_json()
    assert shown["peaks"] == []
    assert isinstance(shown["regulated_c"], float)


def csv_of(log: EngineLog) -> str:
    rows = zip(log.t_s, log.coolant_c, strict=True)
    return "t_s,speed,coolant_c\n" + "".join(f"{t:.1f},9,{c:.2f}\n" for t, c in rows)


def test_a_csv_is_read_with_further_columns_left_out() -> None:
    log = drive()
    read = read_log(csv_of(log), "log.csv").log
    assert np.allclose(read.coolant_c, log.coolant_c, atol=0.006)


def test_gaps_are_left_out() -> None:
    log = drive()
    kept = (log.t_s < 2000) | (log.t_s > 2600)
    even = EngineLog(log.t_s[kept], log.coolant_c[kept]).on_grid()
    assert np.isnan(even.coolant_c).sum() == pytest.approx(600, abs=2)
    found = analyse_log(EngineLog(log.t_s[kept], log.coolant_c[kept]))
    assert found.regulated_c == pytest.approx(LEVEL_C, abs=0.15)


def test_drift_over_logs_against_weighted_least_squares() -> None:
    """Hand calculation: two equal logs a year apart, 3 K down, sd 1 K each: half width 2.77 K."""
    found = drift_over_logs([0.0, 365.25], [88.0, 85.0], [0.0, 0.0])
    assert found is not None
    assert found.k_per_year == pytest.approx(-3.0)
    assert found.half_width == pytest.approx(1.96 * math.sqrt(2))
    assert found.drifts
    assert drift_over_logs([5.0, 5.0], [88.0, 85.0], [0.1, 0.1]) is None
    small = drift_over_logs([0.0, 365.25], [88.0, 86.5], [0.0, 0.0])
    assert small is not None
    assert not small.drifts


def test_without_logs_the_marked_prior_stands() -> None:
    found = usual_offset([])
    assert (found.units, found.mean_k, found.u_mean_k) == (
        0,
        pytest.approx(PRIOR_MEAN_K),
        pytest.approx(PRIOR_MEAN_SD_K),
    )


def test_the_offset_agrees_with_integration_over_both_unknowns() -> None:
    """The same model, integrated on a grid over mean and sd with scipy's densities."""
    seen = [Seen(5.2, 0.3), Seen(6.1, 0.5), Seen(4.4, 0.2), Seen(7.0, 0.4)]
    mean = np.linspace(-6, 14, 801)[:, None]
    log_sd = np.linspace(math.log(0.2), math.log(8.0), 401)[None, :]
    density = stats.norm.logpdf(mean, PRIOR_MEAN_K, PRIOR_MEAN_SD_K) + stats.norm.logpdf(
        log_sd, math.log(PRIOR_BETWEEN_K), PRIOR_BETWEEN_LOG_SD
    )
    for item in seen:
        density = density + stats.norm.logpdf(
            item.offset_k, mean, np.hypot(np.exp(log_sd), item.u_k)
        )
    weights = np.exp(density - density.max())
    weights /= weights.sum()
    expected = float((weights * mean).sum())
    variance = float((weights * (mean - expected) ** 2).sum())
    between = math.sqrt(float((weights * np.exp(2 * log_sd)).sum()))
    found = usual_offset(seen)
    assert found.mean_k == pytest.approx(expected, abs=2e-3)
    assert found.u_mean_k == pytest.approx(math.sqrt(variance), rel=5e-3)
    assert found.between_k == pytest.approx(between, rel=5e-3)


def test_many_engines_outweigh_the_prior() -> None:
    """Two hundred engines: their mean, and the standard error of a mean."""
    rng = np.random.default_rng(8)
    offsets = rng.normal(-1.0, 0.8, 200)
    found = usual_offset([Seen(float(offset), 0.1) for offset in offsets])
    assert found.mean_k == pytest.approx(float(offsets.mean()), abs=0.02)
    spread = math.sqrt(float(offsets.var(ddof=1)) - 0.01)
    assert found.between_k == pytest.approx(spread, rel=0.05)
    assert found.u_mean_k == pytest.approx(float(offsets.std(ddof=1)) / math.sqrt(200), rel=0.05)


def test_the_next_engine_lies_inside_the_interval() -> None:
    """Types, engines and logs drawn from the prior: 95 % of next engines within 2 u."""
    rng, held = np.random.default_rng(9), []
    for _ in range(600):
        mean = rng.normal(PRIOR_MEAN_K, PRIOR_MEAN_SD_K)
        sd = PRIOR_BETWEEN_K * math.exp(rng.normal(0, PRIOR_BETWEEN_LOG_SD))
        seen = [Seen(float(rng.normal(mean, math.hypot(sd, 0.3))), 0.3) for _ in range(4)]
        target = bench_target(88.0, usual_offset(seen))
        runs_c = target.bench_c + rng.normal(mean, sd)
        held.append(abs(runs_c - 88.0) <= target.expanded_u_k)
    assert np.mean(held) == pytest.approx(0.95, abs=0.036)  # 4 sd of the binomial


def test_the_target_is_the_wanted_temperature_less_the_offset() -> None:
    target = bench_target(88.0, usual_offset([]), 0.25)
    assert target.bench_c == pytest.approx(85.0)
    between = PRIOR_BETWEEN_K * math.exp(PRIOR_BETWEEN_LOG_SD**2)  # root mean square, lognormal
    expected = 2 * math.sqrt(9.0 + between**2 + 0.25**2)
    assert target.expanded_u_k == pytest.approx(expected, rel=0.02)
