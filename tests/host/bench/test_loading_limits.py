"""The loading's limits, each from both sides, with the readings that just pass and just fail."""

from __future__ import annotations

import math

import pytest

from host.simple_bath import SimpleBench
from proofbath.bench.loading import (
    PressWatch,
    check_heater,
    check_no_other_current,
    check_preload,
)
from proofbath.run.plan import LoadedStation
from proofbath.run.reading import Reading
from proofbath.run.unit_type import UnitType

HERON_103 = UnitType(
    name="Heron-103", kind="heater-assisted", nominal_start_to_open_c=103.0, full_open_c=116.0,
    full_lift_mm=8.0, cap_c=106.0, element_max_a=0.95, element_ohm=15.0,
)  # fmt: skip
PLACE = LoadedStation(station=2, serial="H103-0208")
REST_MM = (0.4,) * 6


def lifts(*second_mm: float, first_mm: float = 0.4) -> list[Reading]:
    quiet = SimpleBench().reading()
    return [quiet._replace(lift_mm=(first_mm, mm, *REST_MM[2:])) for mm in second_mm]


def fed(second_a: float, second_v: float, first_a: float = 0.0) -> list[Reading]:
    amps, volts = (first_a, second_a, *(0.0,) * 4), (0.0, second_v, *(0.0,) * 4)
    return [SimpleBench().reading()._replace(element_a=amps, element_v=volts)] * 5


@pytest.mark.parametrize(
    ("lift_mm", "ok"), [(0.249, False), (0.251, True), (0.549, True), (0.551, False)]
)
def test_pre_load_may_be_set_and_read_a_twentieth_off(lift_mm: float, ok: bool) -> None:
    """0.3 - 0.05 and 0.5 + 0.05 by hand; 0.3 to 0.5 mm is common practice, no source."""
    assert check_preload(2, lifts(lift_mm)).ok is ok


@pytest.mark.parametrize(
    ("pressed_mm", "back_mm", "other_mm", "ok"),
    [
        (1.001, 0.0, 0.0, True),
        (0.999, 0.0, 0.0, False),
        (-1.001, 0.0, 0.0, True),
        (2.0, 0.099, 0.0, True),
        (2.0, 0.101, 0.0, False),
        (2.0, -0.099, 0.0, True),
        (2.0, -0.101, 0.0, False),
        (2.0, 0.0, 0.199, True),
        (2.0, 0.0, 0.201, False),
        (2.0, 0.0, -0.201, False),
    ],
)
def test_a_press_is_a_millimetre_and_back_within_a_tenth_while_others_keep_still(
    pressed_mm: float, back_mm: float, other_mm: float, ok: bool
) -> None:
    """1, 0.1 and 0.2 mm are what the refusal states as wanted."""
    watch = PressWatch(2, (1, 2), lifts(0.4))
    for reading in lifts(*[0.4 + pressed_mm] * 5, first_mm=0.4 + other_mm):
        watch.take(reading)
    for reading in lifts(*[0.4 + back_mm] * 20):
        watch.take(reading)
    check = watch.check()
    assert check.ok is ok
    assert check.wanted == "1 mm and back within 0.1, the others below 0.2"


def test_back_is_back_for_a_second_without_a_break() -> None:
    """Ten samples of the wire's 100 ms."""
    watch = PressWatch(2, (1, 2), lifts(0.4))
    assert not any(map(watch.take, lifts(2.4, *[0.4] * 9)))
    assert not watch.check().ok
    assert not any(map(watch.take, lifts(1.4, *[0.4] * 9)))
    assert watch.take(lifts(0.4)[0])
    assert watch.check().ok


def test_another_valve_pressed_ends_the_watch_at_once() -> None:
    watch = PressWatch(2, (1, 2), lifts(0.4))
    assert not watch.take(lifts(0.4, first_mm=1.399)[0])
    assert watch.take(lifts(0.4, first_mm=1.401)[0])
    check = watch.check()
    assert (check.ok, check.measured) == (False, "station 1 moved 1.00 mm, this one 0.00 mm")


@pytest.mark.parametrize(
    ("ohm", "ok"), [(13.49, False), (13.51, True), (16.49, True), (16.51, False)]
)
def test_a_heater_differs_from_its_type_by_a_tenth_at_most(ohm: float, ok: bool) -> None:
    """By hand: 15 ohm less and more a tenth are 13.5 and 16.5; Ohm's law with 80 mA."""
    check = check_heater(PLACE, HERON_103, fed(0.08, 0.08 * ohm))
    assert check.ok is ok
    assert check.wanted == "13.5 to 16.5 ohm of type Heron-103"


@pytest.mark.parametrize(
    ("ohm", "ok"), [(14.09, False), (14.11, True), (15.09, True), (15.11, False)]
)
def test_a_heater_differs_from_its_intake_by_half_an_ohm_at_most(ohm: float, ok: bool) -> None:
    """By hand: 14.6 less and more 0.5;."""
    place = PLACE.model_copy(update={"intake_ohm": 14.6})
    check = check_heater(place, HERON_103, fed(0.08, 0.08 * ohm))
    assert check.ok is ok
    assert check.wanted == "14.1 to 15.1 ohm of its intake"


@pytest.mark.parametrize(("current_a", "flows"), [(0.0399, False), (0.0401, True)])
def test_half_of_the_test_current_is_a_current(current_a: float, flows: bool) -> None:
    """The test current heats 15 ohm by 0.08² * 15 = 0.096 W, near a tenth of a watt."""
    assert pytest.approx(0.1, abs=0.005) == 0.08**2 * 15
    assert check_heater(PLACE, HERON_103, fed(current_a, current_a * 15.0)).ok is flows
    check = check_no_other_current(2, (1, 2), fed(0.08, 1.2, first_a=current_a))
    assert check.ok is not flows
    assert check_no_other_current(2, (2,), fed(0.08, 1.2, first_a=current_a)).ok


def test_a_current_that_is_not_read_is_no_current() -> None:
    assert not check_heater(PLACE, HERON_103, fed(math.nan, 1.2)).ok


def test_a_limit_itself_is_still_in_order() -> None:
    """Figures that are exact in binary, or the very limit: 1 mm, 0.1 mm, 0.2 mm, a tenth, half."""
    assert check_preload(2, lifts(0.25)).ok
    assert check_preload(2, lifts(0.55)).ok
    watch = PressWatch(2, (1, 2), lifts(0.0, first_mm=0.0))
    taken = [watch.take(r) for r in lifts(1.0, *[0.1] * 10, first_mm=0.2)]
    assert taken == [False] * 10 + [True]
    assert watch.check().ok
    other = PressWatch(2, (1, 2), lifts(0.0, first_mm=0.0))
    assert other.take(lifts(0.0, first_mm=1.0)[0])
    assert check_heater(PLACE, HERON_103, fed(0.0625, 0.0625 * 13.5)).ok
    assert check_heater(PLACE, HERON_103, fed(0.0625, 0.0625 * 16.5)).ok
    place = PLACE.model_copy(update={"intake_ohm": 14.5})
    assert check_heater(place, HERON_103, fed(0.0625, 0.0625 * 15.0)).ok
    assert not check_heater(PLACE, HERON_103, fed(0.04, 0.04 * 15.0)).ok
    assert check_no_other_current(2, (1, 2), fed(0.08, 1.2, first_a=0.04)).ok


def test_the_worst_of_the_other_stations_is_named() -> None:
    amps = (0.05, 0.08, 0.06, 0.0, 0.0, 0.0)
    readings = [r._replace(element_a=amps) for r in fed(0.08, 1.2)]
    assert check_no_other_current(2, (1, 2, 3), readings).fault() == (
        "station 2 leads: 0.060 A at station 3, wanted no current elsewhere; "
        "element leads are swapped: put them right"
    )
    alone = check_no_other_current(2, (2,), readings)
    assert (alone.ok, alone.measured) == (True, "its own current only")
    quiet = check_no_other_current(2, (1, 2), fed(0.08, 1.2, first_a=0.03))
    assert (quiet.ok, quiet.measured) == (True, "its own current only")


def test_refusals_say_what_to_do() -> None:
    assert check_preload(2, lifts(0.9)).fault() == (
        "station 2 pre-load: 0.90 mm, wanted 0.25 to 0.55 mm; move the gauge in its clamp"
    )
    assert check_preload(2, lifts(math.nan)).measured == "no reading"
    assert check_heater(PLACE, HERON_103, fed(0.0, 0.0)).fault() == (
        "station 2 heater: 0.000 A of 0.08 A flow, wanted 13.5 to 16.5 ohm of type Heron-103; "
        "check its plug and leads"
    )
    assert check_heater(PLACE, HERON_103, fed(0.08, 0.08 * 25)).fault() == (
        "station 2 heater: 25.0 ohm, wanted 13.5 to 16.5 ohm of type Heron-103; "
        "another unit's heater, or a bad contact: check leads and serial"
    )
    untouched = PressWatch(2, (1, 2), lifts(0.4)).check()
    assert (untouched.ok, untouched.measured) == (False, "moved 0.00 mm")
