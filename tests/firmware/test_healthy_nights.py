"""Healthy nights give no alarm; the benchmark of the same name runs a thousand."""

from __future__ import annotations

import ctypes

import pytest

from benchmarks.healthy_nights import alarm, scripted_night
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
