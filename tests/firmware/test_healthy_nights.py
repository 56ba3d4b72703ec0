"""Healthy nights give no alarm; the benchmark of the same name runs a thousand."""

from __future__ import annotations

import ctypes

import pytest

from benchmarks.healthy_nights import alarm, scripted_night
from proofbath.virtual.description import VirtualChain
from proofbath.wire.table import TripReason


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_no_alarm_in_a_healthy_night(native_library: ctypes.CDLL, seed: int) -> None:
    night = scripted_night(seed, 4.0, native_library)
    assert alarm(seed, night) is None
    assert night.hours == pytest.approx(4.0)
    assert night.live_hours > 3.5
    assert night.hottest_c > 94.0
    assert night.most_lift_mm > 2.0 or seed % 2
    assert (night.elements_on_s > 0) == (seed % 2 == 1)
    assert night.pauses > 0


def test_a_fault_in_the_night_is_an_alarm(native_library: ctypes.CDLL) -> None:
    """The night ends with the trip; half an hour into it the current converter drifts by 5 %."""
    fault = {"kind": "current_converter_off", "at_s": 1800.0, "size": 0.05}
    night = scripted_night(1, 3.0, native_library, [fault])
    assert night.trip_reason == TripReason.REFERENCE_CHANNEL
    assert night.trip_s == pytest.approx(1800.0, abs=0.5)
    assert "trip reference_channel after 1800" in str(alarm(1, night))


SLOWEST = {
    "contactor_close_s": 0.1, "contactor_open_s": 0.1, "feed_close_s": 0.1, "feed_open_s": 0.1,
    "heater_relay_close_s": 0.01, "heater_relay_open_s": 0.01,
    "heater_sense_close_s": 0.06, "heater_sense_open_s": 0.09,
}  # fmt: skip
"""Of the current relay the parts list's bounds, of the heater's relay half a cycle of 50 Hz, of
contactors twice what is usual (from memory)."""


def test_the_slowest_parts_of_the_list_raise_no_alarm(native_library: ctypes.CDLL) -> None:
    night = scripted_night(1, 2.0, native_library, chain=VirtualChain(**SLOWEST))
    assert alarm(1, night) is None


@pytest.mark.parametrize(
    ("part", "slow_s", "reason"),
    [
        ("heater_sense_open_s", 0.25, TripReason.HEATER_WELDED),
        ("heater_sense_close_s", 0.2, TripReason.HEATER_OPEN),
        ("contactor_close_s", 0.6, TripReason.CONTACTOR_MIRROR),
    ],
)
def test_a_part_far_slower_than_the_list_allows_trips(
    native_library: ctypes.CDLL, part: str, slow_s: float, reason: TripReason
) -> None:
    """Levels: 0.2 s of current with the relay off, 0.5 s on in ticks of 0.1 s, 0.5 s of mirror."""
    night = scripted_night(1, 2.0, native_library, chain=VirtualChain(**{part: slow_s}))
    assert night.trip_reason == reason
