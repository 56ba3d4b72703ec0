"""Charts at their limits: each limit worked out by hand, and what a point and a chart state."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from proofbath.proof.chart import Chart, Point, Run, probe_chart, reference_chart
from proofbath.proof.chart_power import power_of_single_values, seen_at_once

CHI2_5_999 = 20.515
"""e-Handbook 1.3.6.7.4: chi-square of 5 degrees of freedom passed by one in a thousand."""


def runs(*values: float, cause: str = "") -> list[Run]:
    return [Run(f"night {n}", value, cause) for n, value in enumerate(values, 1)]


def test_the_first_nights_lean_on_the_prior_and_on_a_doubtful_centre() -> None:
    """By hand: 0.18 K with 10 degrees of freedom; one night more adds its own squares."""
    first, second, third = reference_chart(runs(82.0, 82.4, 82.1)).points
    assert first == Point("night 1", 82.0, 82.0, None, 82.0, None, None, "")
    near = pytest.approx
    half, ewma_half = 3 * 0.18 * math.sqrt(2.0), 3 * 0.18 * math.sqrt(0.2 / 1.8 + 1.0)
    assert second == Point(
        "night 2", 82.4, 82.0, near(half), near(82.08), near(ewma_half), None, ""
    )
    # Mean 82.2, squares 2 * 0.2²; EWMA 0.2 * -0.1 + 0.8 * 0.08.
    sd = math.sqrt((10 * 0.18**2 + 0.08) / 11)
    half, ewma_half = 3 * sd * math.sqrt(1.5), 3 * sd * math.sqrt(0.2 / 1.8 + 0.5)
    assert third == Point(
        "night 3", 82.1, near(82.2), near(half), near(82.244), near(ewma_half), None, ""
    )


STEADY = [82.1, 81.9] * 10
SD = math.sqrt(20 * 0.01 / 19)


@pytest.mark.parametrize(("value", "signals"), [(82 + 2.995 * SD, False), (82 + 3.005 * SD, True)])
def test_twenty_nights_carry_their_own_limits(value: float, signals: bool) -> None:
    """Twenty nights at 82 ± 0.1: squares 0.2 over 19 degrees of freedom; 3 s on single nights."""
    chart = reference_chart(runs(*STEADY, value))
    assert chart.provisional is None
    assert (chart.centre, chart.sd) == (pytest.approx(82.0), pytest.approx(SD))
    last = chart.points[-1]
    assert last.half_width == pytest.approx(3 * SD)
    assert last.ewma_half_width == pytest.approx(3 * SD * math.sqrt(0.2 / 1.8))
    assert (last.signal is not None) is signals
    nineteen = reference_chart(runs(*STEADY[:19]))
    assert nineteen.provisional == "19 of 20 nights: limits lean on a prior for the type"


def test_the_ewma_signals_beyond_its_own_limit() -> None:
    """Shifted by 1.9 s each night: 1.9 s * (1 - 0.8^n) passes 1 s with the fourth night or so."""
    chart = reference_chart(runs(*STEADY, *[82.0 + 1.9 * SD] * 6))
    ewma, nights = chart.points[19].ewma - 82.0, 0
    while ewma <= 3 * SD * math.sqrt(0.2 / 1.8):
        ewma, nights = 0.2 * 1.9 * SD + 0.8 * ewma, nights + 1
    signals = [point.signal for point in chart.points[20:]]
    assert 2 <= nights <= 5
    assert [signal is not None for signal in signals] == [n >= nights - 1 for n in range(6)]


@pytest.mark.parametrize(("swing_k", "wanders"), [(0.052, False), (0.05, True)])
def test_a_baseline_wanders_beyond_1_4_times_what_neighbours_show(
    swing_k: float, wanders: bool
) -> None:
    """A drift of 0.02 K a night under a swing; sd over mean moving range / 1.128 (ASTM E2587)."""
    nights = np.arange(20)
    values = 82.0 + 0.02 * nights + swing_k * (-1.0) ** nights
    ratio = float(values.std(ddof=1) / (np.abs(np.diff(values)).mean() / 1.128))
    assert 1.4 * 0.93 < ratio < 1.4 * 1.07
    assert (ratio > 1.4) is wanders
    assert (reference_chart(runs(*values)).provisional is not None) is wanders


@pytest.mark.parametrize(("off_k", "signals"), [(0.08, False), (0.0801, True), (-0.0801, True)])
def test_a_probe_may_move_by_8_hundredths_against_the_other(off_k: float, signals: bool) -> None:
    chart = probe_chart(runs(0.0, off_k), centre_k=0.0)
    assert [point.signal is not None for point in chart.points] == [False, signals]
    assert chart.points[1] == Point(
        "night 2", off_k, 0.0, 0.08, off_k, None, chart.points[1].signal, ""
    )
    if signals:
        assert chart.points[1].signal == f"{off_k:+.3f} K from the centre, limit 0.08 K"


def test_without_a_stated_centre_the_first_five_soaks_set_it() -> None:
    four = probe_chart(runs(0.02, 0.04, 0.02, 0.04))
    assert four.provisional == "4 of 5 soaks: the centre is not settled"
    five = probe_chart(runs(0.02, 0.04, 0.02, 0.04, 0.03, 0.09))
    assert five.provisional is None
    assert five.centre == pytest.approx(0.03)
    assert [p.centre for p in five.points[:3]] == [0.02, 0.02, pytest.approx(0.03)]
    assert [p.half_width for p in five.points] == [None, *[0.08] * 5]
    stated = probe_chart(runs(0.02, 0.04), centre_k=0.01)
    assert (stated.centre, stated.provisional) == (0.01, None)
    assert [p.half_width for p in stated.points] == [0.08, 0.08]
    empty = probe_chart([])
    assert (empty.centre, empty.sd, empty.points) == (None, 0.02, ())


def swinging(count: int, swing_k: float) -> Chart:
    return probe_chart(runs(*[swing_k, -swing_k] * (count // 2)), centre_k=0.0)


@pytest.mark.parametrize(("share", "signals"), [(0.995, False), (1.005, True)])
def test_six_soaks_may_scatter_as_chi_square_says(share: float, signals: bool) -> None:
    """By hand: ± d six times has s = d sqrt(6/5); the limit is 0.02 K sqrt(20.515 / 5)."""
    limit = 0.02 * math.sqrt(CHI2_5_999 / 5)
    chart = swinging(6, share * limit / math.sqrt(6 / 5))
    assert [p.signal is not None for p in chart.points] == [*[False] * 5, signals]
    if signals:
        assert chart.points[5].signal == f"scatter 0.041 K over 6 soaks, limit {limit:.3f} K"


def test_the_scatter_is_of_the_last_twenty_good_soaks() -> None:
    assert probe_chart(runs(*[0.01, -0.01] * 5, *[0.0] * 20), 0.0).sd == 0.0
    assert probe_chart(runs(*[0.01, -0.01] * 5, *[0.0] * 19), 0.0).sd > 0.0
    assert probe_chart(runs(0.03, 0.01), 0.0).sd == pytest.approx(0.02 / math.sqrt(2.0))
    assert probe_chart(runs(0.03), 0.0).sd == 0.02


def test_a_recorded_cause_begins_the_scatter_anew() -> None:
    soaks = [*runs(*[0.05, -0.05] * 3), *runs(0.0, 0.01)]
    assert probe_chart(soaks, 0.0).blocked is not None
    soaks[5] = soaks[5]._replace(cause="a loose plug")
    mended = probe_chart(soaks, 0.0)
    assert mended.blocked is None
    assert mended.sd == pytest.approx(0.01 / math.sqrt(2.0))


def test_single_values_see_what_the_normal_distribution_says() -> None:
    """Limits of 4 s: by the tables Φ(-4) = 3.167e-5, so one false alarm in 15 787; a shift of
    1.5 s leaves Φ(-2.5) = 0.00621, one in 161."""
    found = power_of_single_values(0.03, 0.02, 4.0)
    assert found.shift_k == 0.03
    assert found.per_night == pytest.approx(0.00621, abs=1e-5)
    assert found.mean_nights == pytest.approx(1 / 0.00621, rel=1e-3)
    assert found.mean_nights_to_false_alarm == pytest.approx(15_787, rel=1e-3)
    assert seen_at_once(0.0, 4.0) == pytest.approx(2 * stats.norm.sf(4.0))


def test_charts_state_their_power_against_three_tenths() -> None:
    """0.08 K are 4 s of 0.02 K; 0.3 K are seen at once there, and not by the reference's chart."""
    probes = swinging(6, 0.01).power
    assert (probes.shift_k, probes.mean_nights) == (0.3, pytest.approx(1.0))
    assert probes.mean_nights_to_false_alarm == pytest.approx(15_787, rel=1e-3)
    reference = reference_chart(runs(*STEADY)).power
    assert reference.shift_k == 0.3
    assert reference.per_night == pytest.approx(
        stats.norm.sf(3 - 0.3 / SD) + stats.norm.cdf(-3 - 0.3 / SD)
    )
