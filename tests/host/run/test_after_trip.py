"""What still heats behind a run that ended early, from readings alone."""

from __future__ import annotations

import math
from collections.abc import Iterable

import pytest

from host.simple_bath import SimpleBench
from proofbath.run.after_trip import AfterTrip, StillOn
from proofbath.run.reading import NO_CURRENT, Reading
from proofbath.wire.table import Input, Output, State, TripReason

OFF = Input.LEVEL_OK | Input.EMERGENCY_STOP_CLOSED | Input.CONTACTOR_OPEN
REST = (
    SimpleBench(bath_c=80.0)
    .reading()
    ._replace(
        state=State.TRIPPED,
        trip_reason=TripReason.LEVEL_LOW,
        bath_c=80.0,
        guard_c=80.0,
        inputs=OFF,
        outputs=0,
        element_a=NO_CURRENT,
    )
)


def readings(
    seconds: float, bath_from_c: float, k_per_min: float, **change: object
) -> list[Reading]:
    """Ten readings a second of a bath that moves evenly."""
    return [
        REST._replace(
            t_s=n / 10,
            bath_c=bath_from_c + k_per_min * n / 600,
            guard_c=bath_from_c + k_per_min * n / 600,
            **change,
        )
        for n in range(round(10 * seconds))
    ]


def said(watch: AfterTrip, taken: Iterable[Reading]) -> list[StillOn]:
    return [still_on for reading in taken for still_on in watch.take(reading)]


def test_a_bath_that_cools_says_nothing_and_is_cool_below_45() -> None:
    watch = AfterTrip()
    taken = readings(3600.0, 80.0, -0.8)
    assert said(watch, taken) == []
    assert watch.bath_c == pytest.approx(32.0, abs=0.1)
    first = AfterTrip()
    cool_s = next(r.t_s for r in taken if not first.take(r) and first.is_cool(r.t_s))
    # 80 to 45 °C at 0.8 K/min is 43.75 min; the mean of 10 s is 5 s behind.
    assert cool_s == pytest.approx(43.75 * 60 + 5, abs=1)


def test_a_bath_cold_from_the_beginning_is_watched_for_three_minutes() -> None:
    watch = AfterTrip()
    cool = [r.t_s for r in readings(200.0, 30.0, 0.0) if not watch.take(r) and watch.is_cool(r.t_s)]
    assert cool[0] == pytest.approx(180.0, abs=0.1)


@pytest.mark.parametrize(
    ("name", "change", "headline"),
    [
        ("welded relay", {"inputs": OFF | Input.HEATER_LIVE}, "THE HEAT IS STILL ON: pull Q1"),
        (
            "contactor closed",
            {"inputs": OFF & ~Input.CONTACTOR_OPEN},
            "THE CONTACTOR IS NOT SEEN TO OPEN: pull Q1",
        ),
        (
            "element fed",
            {"element_a": (0.0, 0.0, 0.11, 0.0, 0.0, 0.0)},
            "THE HEAT IS STILL ON: pull Q1",
        ),
    ],
)
def test_what_still_draws_current_is_said_once_after_a_second(
    name: str, change: dict[str, object], headline: str
) -> None:
    watch = AfterTrip()
    taken = readings(600.0, 80.0, -0.8, **change)
    told = [(r.t_s, s) for r in taken for s in watch.take(r)]
    ((t_s, still_on),) = told
    assert t_s == pytest.approx(1.0)
    assert still_on.headline == headline
    assert watch.heats
    assert not watch.is_cool(1e6)
    for reading in readings(3.0, 72.0, 0.0):
        watch.take(reading._replace(t_s=reading.t_s + 600))
    assert not watch.heats


def test_less_than_a_second_and_less_than_the_judged_current_say_nothing() -> None:
    watch = AfterTrip()
    taken = readings(20.0, 80.0, -0.8, element_a=(0.099,) * 6)
    for n in (3, 4, 5, 6, 7, 50, 51):
        taken[n] = taken[n]._replace(inputs=OFF | Input.HEATER_LIVE)
    assert said(watch, taken) == []


def test_outputs_of_a_run_that_has_ended_are_given_the_lease_to_go_off() -> None:
    watch = AfterTrip()
    on = {"outputs": Output.CONTACTOR | Output.HEATER, "inputs": OFF & ~Input.CONTACTOR_OPEN}
    assert said(watch, readings(4.0, 80.0, 0.0, **on)) == []
    watch = AfterTrip()
    (still_on,) = said(watch, readings(10.0, 80.0, 0.0, **on))
    assert "the controller still switches the heater and the contactor on" in still_on.text


def test_a_bath_that_climbs_by_more_than_half_a_kelvin_behind_two_minutes() -> None:
    # Sheath heat of the first two minutes is none: 2 K/min for 120 s, then level.
    watch = AfterTrip()
    taken = readings(120.0, 80.0, 2.0)
    level = [r._replace(t_s=r.t_s + 120) for r in readings(600.0, 84.0, 0.0)]
    assert said(watch, taken + level) == []
    # 0.2 K/min from 120 s on is 0.5 K at 270 s, seen within the mean's 10 s and the second.
    watch = AfterTrip()
    told = [(r.t_s, s) for r in readings(600.0, 80.0, 0.2) for s in watch.take(r)]
    ((t_s, still_on),) = told
    assert 270.0 <= t_s <= 282.0
    assert still_on.headline == "THE HEAT IS STILL ON: pull Q1"
    assert "the bath climbed by 0.5 K" in still_on.text


def test_a_bath_that_climbs_again_late_is_judged_from_its_lowest() -> None:
    watch = AfterTrip()
    cooling = readings(1800.0, 80.0, -0.8)
    again = [r._replace(t_s=r.t_s + 1800) for r in readings(300.0, 56.0, 0.5)]
    (still_on,) = said(watch, cooling + again)
    assert "the bath climbed" in still_on.text


def test_one_probe_is_enough_and_none_is_never_cool() -> None:
    watch = AfterTrip()
    blind = [r._replace(bath_c=math.nan) for r in readings(600.0, 80.0, 0.5)]
    (still_on,) = said(watch, blind)
    assert "the bath climbed" in still_on.text
    watch = AfterTrip()
    dark = [r._replace(bath_c=math.nan, guard_c=math.nan) for r in readings(600.0, 30.0, 0.0)]
    assert said(watch, dark) == []
    assert not watch.is_cool(600.0)


def test_a_stuck_cold_probe_does_not_hide_a_hot_bath() -> None:
    watch = AfterTrip()
    for reading in readings(600.0, 80.0, -0.1):
        watch.take(reading._replace(bath_c=30.0))
    assert not watch.is_cool(600.0)
