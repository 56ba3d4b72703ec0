"""The power of the elements, second by second, against I = sqrt(P / R) worked out by hand."""

from __future__ import annotations

import math

import pytest

from host.simple_bath import SimpleBench
from proofbath.run.power import PowerGenerator
from proofbath.run.profile import Loading, PowerRamp
from proofbath.run.reading import Reading

CLOSED_MM = (0.4,) * 6
LOADING = Loading(max_a=(0.9,) * 2 + (0.0,) * 4, ohm=(15.0,) * 6, full_lift_mm=(8.0,) * 6)


def reading(t_s: float, current_a: float, ohm: float = 15.0, lift_mm: float = 0.4) -> Reading:
    """Return a reading in which station 1 is fed; the others carry nothing."""
    return (
        SimpleBench()
        .reading()
        ._replace(
            t_s=t_s,
            element_a=(current_a, *(0.0,) * 5),
            element_v=(current_a * ohm, *(0.0,) * 5),
            lift_mm=(lift_mm, *(0.4,) * 5),
        )
    )


def ramp(
    now: Reading,
    to_w: float = 6.0,
    rate: float = 6.0,
    asked_a: tuple[float, ...] | None = None,
) -> PowerGenerator:
    """6 W/min are 0.1 W a second; what flows was asked for where nothing else is said."""
    step = PowerRamp(to_w=to_w, rate_w_per_min=rate)
    return PowerGenerator(step, LOADING, now, CLOSED_MM, asked_a or now.element_a)


def amperes(power_w: float, ohm: float = 15.0) -> float:
    return pytest.approx(math.sqrt(power_w / ohm), rel=1e-9)  # type: ignore[no-any-return]


@pytest.mark.parametrize(("current_a", "ohm"), [(0.0999, 15.0), (0.1001, 16.0)])
def test_a_current_from_a_tenth_of_an_ampere_tells_the_resistance(
    current_a: float, ohm: float
) -> None:
    """16 ohm flow; below a tenth of an ampere the nominal 15 ohm stand."""
    made = ramp(reading(0.0, current_a, 16.0))
    power_w = current_a**2 * ohm
    assert made.currents(reading(0.5, current_a))[0] == pytest.approx(current_a, rel=1e-9)
    assert made.currents(reading(1.0, 0.0))[0] == amperes(power_w + 0.1, ohm)


@pytest.mark.parametrize("gain", [0.9, 0.97, 1.1])
@pytest.mark.parametrize("to_w", [0.0, 12.0])
def test_a_ramp_begins_at_the_current_asked_for_whatever_the_source_gives(
    gain: float, to_w: float
) -> None:
    """A source that gives its share of 0.8 A, by U = I R at 15 ohm: nothing changes in the first
    second, and 0.1 W on or off 0.8² · 15 = 9.6 W in the next."""
    asked_a = (0.8, *(0.0,) * 5)
    made = ramp(reading(0.0, 0.8 * gain), to_w=to_w, asked_a=asked_a)
    assert made.currents(reading(0.5, 0.8 * gain))[0] == amperes(9.6)
    moved_w = 0.1 if to_w else -0.1
    assert made.currents(reading(1.0, 0.8 * gain))[0] == amperes(9.6 + moved_w)


def test_currents_are_set_anew_each_second() -> None:
    made = ramp(reading(0.0, 0.0))
    assert made.currents(reading(0.99, 0.0))[1] == 0.0
    assert made.currents(reading(1.0, 0.0))[1] == amperes(0.1)
    assert made.currents(reading(1.9, 0.0))[1] == amperes(0.1)
    assert made.currents(reading(2.0, 0.0))[1] == amperes(0.2)


def test_a_pause_is_made_up_for_by_two_seconds_at_most() -> None:
    made = ramp(reading(0.0, 0.0))
    assert made.currents(reading(1.9, 0.0))[1] == amperes(0.19)
    assert made.currents(reading(30.0, 0.0))[1] == amperes(0.39)


def test_a_resistance_is_believed_at_once_at_first_and_by_a_fifth_later() -> None:
    """16 ohm at the start; 20 ohm later make 16 + 0.2 * 4 = 16.8."""
    made = ramp(reading(0.0, 0.3, 16.0))
    start_w = 0.3**2 * 16
    assert made.currents(reading(0.0, 0.3))[0] == amperes(start_w, 16.0)
    assert made.currents(reading(1.0, 0.3, 20.0))[0] == amperes(start_w + 0.1, 16.8)


@pytest.mark.parametrize(
    ("ohm", "believed"), [(29.9, True), (30.1, False), (7.6, True), (7.4, False)]
)
def test_a_resistance_off_by_a_factor_of_two_is_a_fault(ohm: float, believed: bool) -> None:
    """Of 15 ohm: 30 and 7.5; a tenth of a watt more shows which resistance is used."""
    made = ramp(reading(0.0, 0.3, ohm))
    kept = ohm if believed else 15.0
    assert made.currents(reading(1.0, 0.0))[0] == amperes(0.3**2 * kept + 0.1, kept)


def test_a_station_that_carries_nothing_does_not_hide_the_next() -> None:
    now = reading(0.0, 0.0)._replace(
        element_a=(0.0, 0.3, *(0.0,) * 4), element_v=(0.0, 0.3 * 20.0, *(0.0,) * 4)
    )
    made = ramp(now)
    assert made.currents(reading(1.0, 0.0))[1] == amperes(0.3**2 * 20.0 + 0.1, 20.0)


@pytest.mark.parametrize(("lift_mm", "held"), [(8.69, False), (8.71, True)])
def test_a_unit_open_by_its_full_lift_and_three_tenths_gets_no_more(
    lift_mm: float, held: bool
) -> None:
    """0.4 mm closed, 8 mm rated, 0.3 mm spare: 8.7 mm on the gauge."""
    made = ramp(reading(0.0, 0.0))
    made.currents(reading(1.0, 0.0))
    first, second = made.currents(reading(2.0, 0.0, lift_mm=lift_mm))[:2]
    assert second == amperes(0.2)
    assert first == amperes(0.1 if held else 0.2)


def test_a_ramp_ends_at_its_target_and_no_current_passes_the_types_limit() -> None:
    made = ramp(reading(0.0, 0.0), to_w=0.25)
    currents = [made.currents(reading(float(t), 0.0))[1] for t in (1, 2, 3, 4)]
    assert currents == [amperes(0.1), amperes(0.2), amperes(0.25), amperes(0.25)]
    assert made.arrived
    hot = ramp(reading(0.0, 1.2), to_w=29.0)
    assert hot.currents(reading(0.0, 1.2))[:3] == (0.9, 0.9, 0.0)


def test_a_falling_ramp_leaves_a_station_that_was_held_back_until_it_meets_it() -> None:
    """Station 1 flows 0.1 W, station 2 flows 0.6 W; the target is 0."""
    now = reading(0.0, 0.0)._replace(
        element_a=(0.1, 0.2, *(0.0,) * 4), element_v=(1.5, 3.0, *(0.0,) * 4)
    )
    made = ramp(now, to_w=0.0)
    assert made.currents(now)[:2] == (amperes(0.15), amperes(0.6))
    assert made.currents(now._replace(t_s=1.0))[:2] == (amperes(0.15), amperes(0.5))
    for t in (2.0, 3.0, 4.0):
        made.currents(now._replace(t_s=t))
    assert made.currents(now._replace(t_s=5.0))[:2] == (amperes(0.1), amperes(0.1))
