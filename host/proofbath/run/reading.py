"""What passes between bench and sequencer each tick, in engineering units."""

from __future__ import annotations

from typing import NamedTuple

from proofbath.wire.table import STATIONS, State, StopReason, TripReason


class Reading(NamedTuple):
    """One calibrated sample; a value that is absent or faulty is NaN."""

    t_s: float
    """Controller clock, unwrapped."""
    sequence: int
    state: State
    trip_reason: TripReason
    bath_c: float
    guard_c: float
    lift_mm: tuple[float, ...]
    """As calibrated, not zeroed."""
    element_a: tuple[float, ...]
    element_v: tuple[float, ...]
    heater_on_s: float
    """Bath heater on since the controller's boot."""
    duty: float
    """Duty in force, 0 to 1."""
    station_flags: tuple[int, ...]
    """`StationFlag` of each station."""
    inputs: int
    """`Input` flags."""
    outputs: int
    """`Output` flags."""
    missing: int
    """Samples lost just before this one."""
    stop_reason: StopReason = StopReason.NONE
    """Why the controller last left LIVE without a trip."""


class Demand(NamedTuple):
    """What the sequencer asks of the controller until the next sample."""

    duty: float
    """Bath heater, 0 to 1."""
    stirrer: bool
    cooling: bool
    element_a: tuple[float, ...]
    """Element current set-point of each station."""


NO_CURRENT = (0.0,) * STATIONS
RELEASE = Demand(0.0, False, False, NO_CURRENT)
"""Gives everything back: goes out with a lease of 0.  Compare with `is`."""
