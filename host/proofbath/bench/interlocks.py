"""The interlocks of a bench, one row each: what is done to it, what must happen, how soon.

Times are the controller's own persistence (rig_controller/guard.cpp) and what sampling adds.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from enum import Enum
from typing import NamedTuple

from proofbath.run.reading import Reading
from proofbath.wire.hazards import Proof
from proofbath.wire.table import Input, Output, StationFlag, TripReason


class Setup(Enum):
    """How the bench stands when the act is asked for."""

    REST = "at rest"
    STIRRED = "live, stirring, no heat"
    HEATED = "live, heating"
    FED = "live, one element fed"


class Lowered(Enum):
    """Which limit is lowered so that a healthy bench passes it."""

    NONE = "none"
    BATH = "bath limit"
    GUARD = "guard limit"
    CLIMB = "climb limit"
    HEATER_ON = "heater on-time limit"


class Row(NamedTuple):
    """One interlock proven by a trip."""

    name: Proof
    title: str
    setup: Setup
    act: str
    """What the person does; empty where nothing has to be done."""
    undo: str
    reason: TripReason
    within_s: float
    """Longest time from the first sign of the cause to the trip."""
    sign: Callable[[Reading], bool]
    """Whether a reading shows the cause."""
    lowered: Lowered = Lowered.NONE
    tampered: Input = Input(0)
    """Inputs the act itself falsifies; they are not judged."""
    or_else: tuple[TripReason, ...] = ()
    """Other trips that serve as well, where several race."""


class StationRow(NamedTuple):
    """One interlock of a single station proven by its flag, the others going on."""

    name: Proof
    title: str
    setup: Setup
    act: str
    undo: str
    flag: StationFlag
    trips: TripReason = TripReason.NONE
    """The trip that follows the flag, where one must."""


def _lacks(flag: Input) -> Callable[[Reading], bool]:
    return lambda r: not r.inputs & flag


def _shows(flag: Input, while_not: Output) -> Callable[[Reading], bool]:
    return lambda r: bool(r.inputs & flag) and not r.outputs & while_not


TRIPS = (
    Row(
        Proof.EMERGENCY_STOP, "Emergency stop", Setup.STIRRED,
        "Press the emergency stop.", "Release the emergency stop.",
        TripReason.EMERGENCY_STOP, 0.3, _lacks(Input.EMERGENCY_STOP_CLOSED),
    ),
    Row(
        Proof.LEVEL, "Level switch", Setup.STIRRED,
        "Lift the level switch out of the liquid, or push its float down.", "Put it back.",
        TripReason.LEVEL_LOW, 1.5, _lacks(Input.LEVEL_OK),
    ),
    Row(
        Proof.STIRRER, "Stirrer", Setup.STIRRED,
        "Switch the stirrer off at its drive; never reach into it.", "Switch it on again.",
        TripReason.STIRRER_STOPPED, 2.5,
        lambda r: bool(r.outputs & Output.STIRRER) and not r.inputs & Input.STIRRER_TURNING,
    ),
    Row(
        Proof.BATH_PROBE, "Bath probe unplugged", Setup.STIRRED,
        "Unplug the bath probe.", "Plug it in again.",
        TripReason.BATH_PROBE_FAULT, 0.6, lambda r: r.bath_c != r.bath_c,
    ),
    Row(
        Proof.GUARD_PROBE, "Guard probe unplugged", Setup.STIRRED,
        "Unplug the guard probe.", "Plug it in again.",
        TripReason.GUARD_PROBE_FAULT, 0.6, lambda r: r.guard_c != r.guard_c,
    ),
    Row(
        Proof.PROBES_APART, "Probes that disagree", Setup.STIRRED,
        "Hold the guard probe in a cup of water at least 10 K warmer or colder than the bath.",
        "Put the guard probe back.",
        TripReason.PROBES_DISAGREE, 4.0, lambda r: abs(r.bath_c - r.guard_c) > 4.1,
    ),
    Row(
        Proof.MIRROR_UNPLUGGED, "Contactor's mirror contact unplugged", Setup.REST,
        "Unplug the mirror contact of the contactor (low-voltage side).", "Plug it in again.",
        TripReason.CONTACTOR_MIRROR, 1.0, _lacks(Input.CONTACTOR_OPEN),
        tampered=Input.CONTACTOR_OPEN,
    ),
    Row(
        Proof.MIRROR_BRIDGED, "Contactor that does not close", Setup.STIRRED,
        "Bridge the mirror contact with its test link (low-voltage side).", "Take the link out.",
        TripReason.CONTACTOR_MIRROR, 1.0,
        lambda r: bool(r.inputs & Input.CONTACTOR_OPEN and r.outputs & Output.CONTACTOR),
        tampered=Input.CONTACTOR_OPEN,
    ),
    Row(
        Proof.WELDED_RELAY, "Welded heater relay", Setup.STIRRED,
        "Close the test link of the heater sense (low-voltage side).", "Open the link.",
        TripReason.HEATER_WELDED, 0.6, _shows(Input.HEATER_LIVE, Output.HEATER),
        tampered=Input.HEATER_LIVE,
    ),
    Row(
        Proof.HEATER_OPEN, "Heater that takes no current", Setup.HEATED,
        "Switch the bath heater off at its own isolator.", "Switch it on again.",
        TripReason.HEATER_OPEN, 1.2,
        lambda r: bool(r.outputs & Output.HEATER) and not r.inputs & Input.HEATER_LIVE,
    ),
    Row(
        Proof.MAINS_LOST, "Mains lost, controller alive", Setup.HEATED,
        "Switch off the bench's mains; leave the controller's own supply on.",
        "Switch the mains on again.",
        TripReason.CONTACTOR_MIRROR, 2.5,
        lambda r: bool(r.inputs & Input.CONTACTOR_OPEN and r.outputs & Output.CONTACTOR),
        or_else=(TripReason.HEATER_OPEN, TripReason.STIRRER_STOPPED),
    ),
    Row(
        Proof.BATH_LIMIT, "Over-temperature at the bath probe", Setup.HEATED,
        "", "", TripReason.BATH_OVER_LIMIT, 0.6, lambda r: False, Lowered.BATH,
    ),
    Row(
        Proof.GUARD_LIMIT, "Over-temperature at the guard probe", Setup.HEATED,
        "", "", TripReason.GUARD_OVER_LIMIT, 0.6, lambda r: False, Lowered.GUARD,
    ),
    Row(
        Proof.CLIMB, "Climb too fast", Setup.HEATED,
        "", "", TripReason.CLIMB_TOO_FAST, 0.6, lambda r: False, Lowered.CLIMB,
    ),
    Row(
        Proof.HEATER_TIME, "Heater on too long", Setup.HEATED,
        "", "", TripReason.HEATER_ON_LIMIT, 0.6, lambda r: False, Lowered.HEATER_ON,
    ),
)  # fmt: skip
"""Those with a lowered limit need no hand: the bench heats into its limit by itself."""

AT_STATION = (
    StationRow(
        Proof.ELEMENT_OPEN, "element open", Setup.FED,
        "Unplug the dummy load at station {n}.", "Plug it in again.", StationFlag.ELEMENT_OPEN,
    ),
    StationRow(
        Proof.ELEMENT_SHORT, "element short", Setup.FED,
        "Bridge the dummy load at station {n}.", "Take the bridge out.", StationFlag.ELEMENT_SHORT,
    ),
    StationRow(
        Proof.ELEMENT_OVER, "current past the channel", Setup.FED,
        "Close the bypass link at station {n} (0.3 to 0.5 A past its channel).", "Open the link.",
        StationFlag.ELEMENT_OVER, TripReason.ELEMENT_FEED_STUCK,
    ),
    StationRow(
        Proof.GAUGE, "gauge unplugged", Setup.STIRRED,
        "Unplug the lift gauge at station {n}.", "Plug it in again.", StationFlag.GAUGE_FAULT,
    ),
)  # fmt: skip

STATION_OFF = Proof.STATION_OFF
LEASE, CABLE, CUT_OUT, POWER = Proof.LEASE, Proof.CABLE, Proof.CUT_OUT, Proof.POWER
DECLARED = {
    Proof.RESIDUAL_CURRENT: "Does the residual-current device trip by its test button?",
    Proof.WIRING: "Has a licensed electrician measured earth and isolation of this bench?",
    Proof.CUT_OUT_WIRING: "Is the cut-out hard-wired in the contactor's coil, with its own sensor?",
    Proof.LOCAL_RULES: "Do local rules allow this bench to heat while nobody is there?",
}
"""What no sample shows; a person answers for it."""


def station_name(name: str, station: int) -> str:
    """Return the name of a station's row, as the record keeps it."""
    return f"station {station} {name}"


def station_rows(stations: Iterable[int]) -> list[str]:
    """Return the names of the rows that are proven at the stations in use."""
    kinds = (*(row.name for row in AT_STATION), STATION_OFF)
    return [station_name(name, n) for n in stations for name in kinds]


def wanted_rows(stations: Iterable[int]) -> list[str]:
    """Return the names of all rows a complete proof has, for the stations in use."""
    bench = (*DECLARED, *(row.name for row in TRIPS), LEASE)
    return [*bench, *station_rows(stations), CUT_OUT, CABLE, POWER]
