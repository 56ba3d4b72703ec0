"""Verdicts on interlocks, from readings written by hand: in time, all off, latched."""

from __future__ import annotations

import math

import pytest

from host.simple_bath import SimpleBench
from proofbath.bench.interlock_judge import (
    judge_dark,
    judge_flag,
    judge_lease,
    judge_station_off,
    judge_trip,
)
from proofbath.bench.interlocks import AT_STATION, TRIPS
from proofbath.run.reading import Reading
from proofbath.wire.table import Input, Output, State, StationFlag, TripReason

STOP = next(row for row in TRIPS if row.name == "emergency stop")
OPEN, OVER = AT_STATION[0], AT_STATION[2]
FINE = Input.LEVEL_OK | Input.EMERGENCY_STOP_CLOSED | Input.STIRRER_TURNING
REST = SimpleBench().reading()._replace(inputs=FINE | Input.CONTACTOR_OPEN)
LIVE = REST._replace(state=State.LIVE, inputs=FINE, outputs=Output.CONTACTOR | Output.STIRRER)
PRESSED = LIVE._replace(inputs=FINE & ~Input.EMERGENCY_STOP_CLOSED)
TRIPPED = REST._replace(
    state=State.TRIPPED, trip_reason=TripReason.EMERGENCY_STOP,
    inputs=REST.inputs & ~Input.EMERGENCY_STOP_CLOSED,
)  # fmt: skip


def timed(*parts: tuple[Reading, int]) -> list[Reading]:
    """Each reading repeated so many times, 0.1 s apart."""
    rows = [reading for reading, count in parts for _ in range(count)]
    return [row._replace(t_s=100.0 + 0.1 * n) for n, row in enumerate(rows)]


def test_a_trip_in_time_that_takes_all_off_and_stays_is_a_proof() -> None:
    released = TRIPPED._replace(inputs=REST.inputs)
    found = judge_trip(
        STOP, timed((LIVE, 5), (PRESSED, 1), (TRIPPED, 20), (released, 20)), STOP.sign
    )
    assert found.ok
    assert found.measured == "tripped after 0.1 s, all off, stayed so"


@pytest.mark.parametrize(
    ("parts", "seen"),
    [
        ([(LIVE, 50)], "nothing of it was seen"),
        ([(LIVE, 5), (PRESSED, 30)], "no trip within 2.9 s"),
        ([(PRESSED, 6), (TRIPPED, 20)], "tripped after 0.6 s"),
        ([(PRESSED, 1), (TRIPPED._replace(trip_reason=TripReason.LEVEL_LOW), 9)], "level low"),
        ([(PRESSED, 1), (TRIPPED, 20), (REST, 1)], "it did not stay tripped"),
        ([(PRESSED, 1), (TRIPPED._replace(outputs=Output.HEATER), 9)], "heater stayed on"),
        ([(PRESSED, 1), (TRIPPED._replace(inputs=FINE), 20)], "the contactor did not open"),
        (
            [(PRESSED, 1), (TRIPPED._replace(inputs=REST.inputs | Input.HEATER_LIVE), 20)],
            "the heater still took current",
        ),
        (
            [(PRESSED, 1), (TRIPPED._replace(element_a=(math.nan, 0.3, 0, 0, 0, 0)), 20)],
            "an element still took current",
        ),
    ],
)
def test_anything_less_proves_nothing(parts: list[tuple[Reading, int]], seen: str) -> None:
    found = judge_trip(STOP, timed(*parts), STOP.sign)
    assert not found.ok
    assert seen in found.measured


def flagged(current_a: float, state: State = State.LIVE, other: int = 0) -> Reading:
    return LIVE._replace(
        state=state,
        station_flags=(0, StationFlag.ELEMENT_OPEN, other, 0, 0, 0),
        element_a=(0.0, current_a, 0.0, 0.0, 0.0, 0.0),
    )


def test_a_flag_that_costs_one_station_is_a_proof() -> None:
    assert judge_flag(OPEN, 2, timed((LIVE, 5), (flagged(0.0), 20))).ok


@pytest.mark.parametrize(
    ("after", "seen"),
    [
        (LIVE, "no flag"),
        (flagged(0.2), "its current goes on"),
        (flagged(0.0, State.TRIPPED), "the whole bench stopped"),
        (flagged(0.0, other=StationFlag.GAUGE_FAULT), "flags at station 3 too"),
    ],
)
def test_a_flag_that_does_less_or_more_is_told(after: Reading, seen: str) -> None:
    found = judge_flag(OPEN, 2, timed((LIVE, 5), (after, 20)))
    assert not found.ok
    assert seen in found.measured


def test_current_past_the_channel_must_end_in_a_trip() -> None:
    over = flagged(0.4)._replace(station_flags=(0, StationFlag.ELEMENT_OVER, 0, 0, 0, 0))
    stuck = over._replace(state=State.TRIPPED, trip_reason=TripReason.ELEMENT_FEED_STUCK)
    assert judge_flag(OVER, 2, timed((over, 6), (stuck, 10))).ok
    assert not judge_flag(OVER, 2, timed((over, 60))).ok
    other = stuck._replace(trip_reason=TripReason.LEVEL_LOW)
    assert not judge_flag(OVER, 2, timed((over, 6), (other, 10))).ok


@pytest.mark.parametrize(
    ("fed_a", "left_a", "ok"), [(0.2, 0.0, True), (0.2, 0.19, False), (0.0, 0.0, False)]
)
def test_a_station_switched_off_carries_nothing(fed_a: float, left_a: float, ok: bool) -> None:
    fed, left = (LIVE._replace(element_a=(0.0, a, 0.0, 0.0, 0.0, 0.0)) for a in (fed_a, left_a))
    assert judge_station_off(2, 0.2, timed((fed, 1), (left, 20))).ok is ok


@pytest.mark.parametrize(
    ("heated_ticks", "closed_ticks", "ok"), [(20, 10, True), (30, 10, False), (20, 20, False)]
)
def test_a_silent_host_is_judged_by_lease_and_contactor(
    heated_ticks: int, closed_ticks: int, ok: bool
) -> None:
    """2 s of lease and 1 s of delay, as the controller's own rules say."""
    heated = LIVE._replace(duty=1.0, outputs=LIVE.outputs | Output.HEATER)
    ready = LIVE._replace(state=State.READY, outputs=Output.CONTACTOR)
    parts = timed((heated, heated_ticks + 1), (ready, closed_ticks), (REST, 30))
    assert judge_lease(parts).ok is ok


def test_a_lease_proves_nothing_when_nothing_was_heated() -> None:
    assert not judge_lease(timed((LIVE, 21), (REST, 30))).ok


def test_dark_means_dark() -> None:
    assert judge_dark(timed((REST, 50))) == ""
    assert "contactor stayed on" in judge_dark(timed((REST, 5), (LIVE, 1)))
