"""Numbers and dates on paper."""

from __future__ import annotations

import datetime as dt

import pytest

from proofbath.certificate.words import day, days, decimals_of, fixed, plain, span, whole_freedom


@pytest.mark.parametrize(
    ("uncertainty", "decimals"),
    # two significant digits: GUM (JCGM 100:2008) 7.2.6; by hand
    [
        *((0.3, 2), (0.302, 2), (0.0996, 2), (0.0994, 3), (0.0995, 2), (0.995, 1), (0.994, 2)),
        *((1.0, 1), (9.96, 0), (25.0, 0), (1e-9, 6)),
    ],
)
def test_an_uncertainty_shows_two_significant_digits(uncertainty: float, decimals: int) -> None:
    assert decimals_of(uncertainty) == decimals


def test_the_gum_example_of_rounding() -> None:
    # GUM (JCGM 100:2008) 7.2.6: y = 10.057 62 ohm with u = 27 milliohm becomes 10.058 ohm
    assert fixed(10.05762, decimals_of(0.027)) == "10.058"


@pytest.mark.parametrize(
    ("value", "decimals", "text"),
    [
        (2.5, 0, "3"),
        (0.125, 2, "0.13"),
        (-0.004, 2, "0.00"),
        (-1.25, 1, "−1.3"),
        (82.0, 2, "82.00"),
    ],
)
def test_halves_are_rounded_away_and_no_minus_stands_before_zero(
    value: float, decimals: int, text: str
) -> None:
    assert fixed(value, decimals) == text


def test_degrees_of_freedom_are_cut_not_rounded() -> None:
    # GUM G.4.1: truncated to the next lower whole number
    assert [whole_freedom(x) for x in (8.9, 16.999, 0.4, None, 5000.0)] == [
        "8",
        "17",
        "1",
        "∞",
        "∞",
    ]


def test_dates_and_limits_are_unmistakable() -> None:
    assert day(dt.date(2025, 4, 3)) == "3 April 2025"
    assert days(dt.date(2025, 4, 3), dt.date(2025, 4, 3)) == "3 April 2025"
    assert days(dt.date(2025, 4, 3), dt.date(2025, 5, 1)) == "3 April 2025 to 1 May 2025"
    assert [span("1", "2"), span("1", None), span(None, "2"), span(None, None)] == [
        "1 to 2",
        "≥ 1",
        "≤ 2",
        "–",
    ]
    assert plain(-0.5) == "−0.5"
