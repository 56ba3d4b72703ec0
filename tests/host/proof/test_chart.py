"""Control charts against the e-Handbook, ASTM E2587, and run lengths of the literature."""

from __future__ import annotations

import math
from itertools import pairwise
from statistics import fmean, stdev

import numpy as np
import pytest

from host.proof.reference import rows
from proofbath.proof.chart import (
    BASELINE_NIGHTS,
    D2_OF_TWO,
    LIMIT_IN_S,
    PRIOR_SD_K,
    WEIGHT,
    WIDTH,
    Run,
    individuals_limits,
    moving_range_sd,
    probe_chart,
    reference_chart,
)
from proofbath.proof.chart_power import average_run_length, power, seen_at_once


def nights(values: list[float]) -> list[Run]:
    return [Run(f"night {n + 1}", value) for n, value in enumerate(values)]


def steady(count: int, seed: int, sd: float = 0.15, start: float = 82.0) -> list[float]:
    return list(np.random.default_rng(seed).normal(start, sd, count))


def check_standard() -> list[float]:
    return [float(r["check_standard_ohm_cm"]) for r in rows("ehandbook_mpc62_check_standard")]


def test_limits_of_a_published_check_standard() -> None:
    """NIST/SEMATECH e-Handbook 2.6.2, check standard 137: data read; mean and sd from memory."""
    centre, sd, low, high = individuals_limits(check_standard())
    assert centre == pytest.approx(97.0698, abs=5e-5)
    assert sd == pytest.approx(0.0268, abs=5e-5)
    assert (low, high) == (pytest.approx(centre - 3 * sd), pytest.approx(centre + 3 * sd))


def test_a_published_check_standard_stays_in_control() -> None:
    """e-Handbook 2.6.2: none of the 25 values lies outside; the scale is ohm cm, not kelvin."""
    chart = reference_chart(nights(check_standard()), prior_sd_k=0.03)
    assert chart.blocked is None
    assert chart.provisional is None
    assert chart.sd == pytest.approx(stdev(check_standard()[:BASELINE_NIGHTS]))


def test_moving_range_constant_is_the_tables() -> None:
    """ASTM E2587 prints d2 of two as 1.128; in closed form it is 2 / sqrt(pi)."""
    row = next(r for r in rows("control_chart_constants") if r["n"] == "2")
    assert pytest.approx(float(row["d2_table"]), abs=5e-4) == D2_OF_TWO
    assert pytest.approx(2 / math.sqrt(math.pi), abs=1e-5) == D2_OF_TWO
    assert moving_range_sd([1.0, 3.0, 2.0]) == pytest.approx(1.5 / 1.128, rel=1e-3)


@pytest.mark.parametrize(
    ("weight", "width", "lengths"),
    [
        (0.40, 3.054, (500, 224, 71.2, 28.4, 14.3)),
        (0.25, 2.998, (500, 170, 48.2, 20.1, 11.1)),
        (0.20, 2.962, (500, 150, 41.8, 18.2, 10.5)),
        (0.10, 2.814, (500, 106, 31.3, 15.9, 10.3)),
        (0.05, 2.615, (500, 84.1, 28.8, 16.4, 11.4)),
    ],
)
def test_run_lengths_of_the_ewma(weight: float, width: float, lengths: tuple[float, ...]) -> None:
    """Lucas and Saccucci, Technometrics 32 (1990) 1, shifts 0 to 1 s by quarters [from memory]."""
    for shift, length in zip((0.0, 0.25, 0.5, 0.75, 1.0), lengths, strict=True):
        assert average_run_length(shift, weight, width) == pytest.approx(length, rel=0.01)


def test_run_lengths_of_single_values() -> None:
    """Closed form: 1/0.0027 = 370.4 in control, 43.9 and 6.3 at shifts of 1 s and 2 s."""
    for shift, by_hand in ((0.0, 370.4), (1.0, 43.9), (2.0, 6.30)):
        assert 1 / seen_at_once(shift) == pytest.approx(by_hand, rel=1e-3)
        only_single = average_run_length(shift, WEIGHT, 8.0, 3.0)
        assert only_single == pytest.approx(by_hand, rel=1e-2)


def test_run_length_of_both_rules_agrees_with_simulated_nights() -> None:
    """Counting simulated nights until a signal: an independent way."""
    rng, lengths = np.random.default_rng(7), list[int]()
    edge = WIDTH * math.sqrt(WEIGHT / (2 - WEIGHT))
    for _ in range(4000):
        ewma, count = 0.0, 0
        while True:
            value, count = float(rng.normal(1.0)), count + 1
            ewma = WEIGHT * value + (1 - WEIGHT) * ewma
            if abs(value) > LIMIT_IN_S or abs(ewma) > edge:
                break
        lengths.append(count)
    expected = average_run_length(1.0, WEIGHT, WIDTH, LIMIT_IN_S)
    assert fmean(lengths) == pytest.approx(expected, abs=4 * stdev(lengths) / math.sqrt(4000))


def test_a_probe_drift_of_three_tenths_is_seen_in_few_nights_only() -> None:
    """A 3 s chart with s 0.15 to 0.2 K sees 0.3 K in 7 to 16 % of nights: normal tails by hand."""
    assert power(0.3, 0.2, WEIGHT, WIDTH).per_night == pytest.approx(0.0668, abs=1e-4)
    assert power(0.3, 0.15, WEIGHT, WIDTH).per_night == pytest.approx(0.1587, abs=1e-4)


def test_the_chart_says_what_it_can_see() -> None:
    chart = reference_chart(nights(steady(25, 1)))
    assert "a lasting shift of 0.3 K is beyond the limits in" in chart.power.in_words()
    assert chart.power.mean_nights < 1 / chart.power.per_night
    assert chart.power.mean_nights_to_false_alarm == pytest.approx(243, abs=2)


def test_below_twenty_nights_limits_are_provisional_and_lean_on_the_prior() -> None:
    assert reference_chart([]).centre is None
    one = reference_chart(nights([82.0]))
    assert (one.points[0].half_width, one.blocked) == (None, None)
    two = reference_chart(nights([82.0, 82.1]))
    assert two.points[1].half_width == pytest.approx(3 * PRIOR_SD_K * math.sqrt(2))
    few = reference_chart(nights(steady(19, 2)))
    assert "19 of 20 nights" in str(few.provisional)
    values = steady(20, 2)
    enough = reference_chart(nights(values))
    assert enough.provisional is None
    assert (enough.centre, enough.sd) == (
        pytest.approx(fmean(values)),
        pytest.approx(stdev(values)),
    )


def test_later_nights_do_not_move_the_limits() -> None:
    values = steady(20, 3)
    chart = reference_chart(nights([*values, *(v + 0.1 for v in steady(10, 4))]))
    assert chart.centre == pytest.approx(fmean(values))


def test_a_wandering_baseline_is_not_established() -> None:
    """Twenty nights that creep by 0.04 K each: neighbours agree, the whole does not."""
    creep = [82.0 + 0.02 * n + 0.01 * (-1) ** n for n in range(20)]
    assert "wander" in str(reference_chart(nights(creep)).provisional)
    steady_ones = [reference_chart(nights(steady(20, seed))).provisional for seed in range(300)]
    assert sum(text is not None for text in steady_ones) <= 9


def test_out_of_control_blocks_until_a_cause_is_recorded_and_a_run_is_good() -> None:
    values = steady(22, 5)
    chart = reference_chart(nights([*values, 83.2]))
    assert "out of control in run night 23" in str(chart.blocked)
    without_cause = reference_chart(nights([*values, 83.2, 82.0]))
    assert "record the cause" in str(without_cause.blocked)
    caused = [*nights(values), Run("night 23", 83.2, "unit hung on the fixture")]
    assert "a good run must follow" in str(reference_chart(caused).blocked)
    assert reference_chart([*caused, Run("night 24", 82.05)]).blocked is None
    assert "night 24" in str(reference_chart([*caused, Run("night 24", 83.1)]).blocked)


def test_a_slow_drift_is_seen_by_the_ewma_first() -> None:
    values = [82.0 + 0.15 * (-1) ** n for n in range(20)]
    drifting = [82.0 + 0.02 * n for n in range(1, 16)]
    chart = reference_chart(nights([*values, *drifting]))
    first = next(point for point in chart.points if point.signal)
    assert str(first.signal).startswith("EWMA")


def test_the_ewma_is_the_recursion_by_hand() -> None:
    values = [82.0 + 0.15 * (-1) ** n for n in range(20)] + [82.3, 82.2]
    chart = reference_chart(nights(values))
    before, last = chart.points[-2], chart.points[-1]
    assert chart.centre is not None
    assert last.ewma == pytest.approx(0.2 * 82.2 + 0.8 * before.ewma)
    assert last.ewma_half_width == pytest.approx(3 * chart.sd / 3)  # sqrt(0.2 / 1.8) = 1/3


def test_bath_minus_guard_sees_what_the_reference_unit_cannot() -> None:
    """Limit 0.08 K at s 0.02 K: four s, so 0.3 K is seen at once and 0.04 K is not."""
    quiet = list(np.random.default_rng(8).normal(0.03, 0.01, 12))
    chart = probe_chart(nights(quiet))
    assert chart.blocked is None
    assert chart.centre == pytest.approx(fmean(quiet[:5]))
    assert chart.power.per_night == pytest.approx(1.0)
    moved = probe_chart(nights([*quiet, 0.13]))
    assert "out of control in run night 13" in str(moved.blocked)
    assert probe_chart(nights([*quiet, 0.07])).blocked is None


def test_probe_differences_against_a_calibrations_own() -> None:
    assert probe_chart(nights([0.02]), centre_k=0.0).blocked is None
    assert probe_chart(nights([0.09]), centre_k=0.0).blocked is not None
    assert "1 of 5 soaks" in str(probe_chart(nights([0.02])).provisional)
    assert probe_chart(nights([0.02]), centre_k=0.0).provisional is None


def test_probes_that_scatter_are_out_of_control_within_the_limit() -> None:
    noisy = [0.055 * (-1) ** n for n in range(20)]
    signals = [p.signal for p in probe_chart(nights(noisy), centre_k=0.0).points if p.signal]
    assert signals
    assert "scatter" in signals[0]
    false_alarms = [
        probe_chart(nights(list(np.random.default_rng(s).normal(0, 0.02, 40))), 0.0).blocked
        for s in range(100)
    ]
    assert sum(text is not None for text in false_alarms) <= 6


def test_neighbours_of_steady_values_show_the_same_sd() -> None:
    values = steady(2000, 9)
    ranges = [abs(b - a) for a, b in pairwise(values)]
    assert moving_range_sd(values) == pytest.approx(fmean(ranges) / 1.128, rel=1e-3)
    assert moving_range_sd(values) == pytest.approx(0.15, rel=0.05)
