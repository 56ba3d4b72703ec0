"""One element's figures: by hand, from R = R0 (1 + coefficient x temperature)."""

from __future__ import annotations

import math
import random

import pytest

from proofbath.run.element_check import (
    Mean,
    Meter,
    Warming,
    Window,
    check_a,
    coefficient,
    dry,
)

STILL = Mean(15.0, 1e-4)


def warming(bath_c: float, ohm: float, u: float = 1e-4) -> Warming:
    return Warming(bath_c, 0.3, 3.0, Mean(ohm, u), STILL, STILL)


@pytest.mark.parametrize(
    ("max_a", "ohm", "wanted_a"),
    # P = I²R: 3 W in 15 ohm are 0.447 A, in 12 ohm 0.5 A.
    [(0.9, 15.0, 0.4472), (0.9, 12.0, 0.5), (0.9, 6.0, 0.5), (0.3, 15.0, 0.3), (0.0, 15.0, 0.0)],
)
def test_the_current_is_small_and_never_more_than_the_type_takes(
    max_a: float, ohm: float, wanted_a: float
) -> None:
    assert check_a(max_a, ohm) == pytest.approx(wanted_a, abs=1e-4)


def test_a_coefficient_is_the_growth_over_the_span() -> None:
    # 15 ohm at 20 °C, 15.18 ohm at 80 °C: 1.2 % over 60 K are 2e-4/K.
    found = coefficient(warming(20.0, 15.0), warming(80.0, 15.18))
    assert found.per_k == pytest.approx(2e-4)
    # Two readings known to 1e-4 ohm: 2 x sqrt(2) x 6.6e-6 / 60 K.
    assert found.expanded == pytest.approx(2 * math.hypot(1e-4 / 15, 1e-4 / 15.18) / 60)
    assert (found.doubt, found.code) == ("", 19)


@pytest.mark.parametrize(
    ("soak", "words"),
    [
        (warming(80.0, 15.089), "0.0099 % a kelvin, 0.01 % are needed"),
        (warming(80.0, 15.56), "more than 0.06 %: look at its leads"),
        (warming(39.0, 15.06), "rose by 19 K between its two measurements, 20 K are needed"),
        (warming(80.0, 15.12, 0.02), "known to 33 % only"),
        (None, "was not measured twice"),
    ],
)
def test_a_coefficient_that_guards_nothing_says_why(soak: Warming | None, words: str) -> None:
    found = coefficient(warming(20.0, 15.0), soak)
    assert words in found.doubt
    assert found.code == 0


def test_the_controller_is_sent_no_more_than_it_takes() -> None:
    # Firmware level element_per_k_ceiling: 50 of 1e-5/K; less is guarded by a lower level.
    assert coefficient(warming(20.0, 15.0), warming(80.0, 15.522)).code == 50


def warmed(still_k: float, rise_k: float, per_k: float = 2e-4) -> Warming:
    """A check at 2.2 W, 2 W more than its base, whose core stood `rise_k` higher at last."""
    late = 15.0 * (1.0 + per_k * rise_k)
    early = late / (1.0 + per_k * still_k)
    return Warming(20.0, 0.2, 2.2, Mean(15.0, 0.0), Mean(early, 0.0), Mean(late, 0.0))


@pytest.mark.parametrize(
    ("still_k", "rise_k", "words"),
    [
        (0.7, 10.0, ""),
        (2.6, 10.0, ""),
        (2.7, 10.0, "still warmed by up to 1.23 K a watt"),
        (0.1, 10.9, ""),
        (0.1, 11.2, "it warmed by up to 5.60 K a watt in the check, limit 5.50"),
    ],
)
def test_a_dry_element_goes_on_warming_and_one_without_wax_stands_high(
    still_k: float, rise_k: float, words: str
) -> None:
    said = dry(warmed(still_k, rise_k), 2e-4)
    assert (words in said) if words else said == ""


def test_a_window_knows_its_mean_and_how_well() -> None:
    draw = random.Random(4)
    values = [15.0 + draw.gauss(0.0, 0.01) for _ in range(400)]
    window = Window(1.0, 2.0)
    for value in values:
        window.add(1.5, value)
    window.add(0.9, 99.0)
    window.add(2.1, 99.0)
    window.add(1.5, math.nan)
    found = window.mean()
    assert found.value == pytest.approx(sum(values) / 400)
    # 0.01 over the root of 400.
    assert found.u == pytest.approx(0.0005, rel=0.1)
    assert math.isnan(Window(0.0, 1.0).mean().value)


def test_a_meter_ends_a_core_that_warms_faster_than_any_immersed_one() -> None:
    def fed(k_per_s: float) -> Meter:
        meter = Meter()
        for tick in range(200):
            meter.take_base(tick / 10, 20.0, 0.15, 0.15 * 15.0)
        for tick in range(1000):
            ohm = 15.0 * (1.0 + 6e-4 * k_per_s * tick / 10)
            meter.take(tick / 10, 0.447, 0.447 * ohm)
        return meter

    # HASTY_K is 17 K: 0.16 K/s come to 16 K in the check, 0.2 K/s to 20 K.
    assert not fed(0.16).hasty
    assert fed(0.2).hasty
