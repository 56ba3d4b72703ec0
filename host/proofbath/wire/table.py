"""The wire table: every message between host and controller, defined once.

The C++ header and rig_docs/wire.md are generated from these classes (see `generate`).
A message is a `NamedTuple`; each field is annotated with its range, so the line codec, the
typed message, the header and the page cannot disagree.  All numbers are unsigned integers.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum, IntFlag
from typing import Annotated, NamedTuple, get_args, get_type_hints

PROTOCOL = 2
STATIONS = 6
LINE_MAX = 255
"""Longest line in bytes, newline included."""
ABSENT = 65535
"""Raw value of a station the board does not have."""
TICK_MS = 100
SCANS_PER_TICK = 4
OLDEST_ANSWER_TICKS = 5
"""A demand may answer a sample at most this many ticks old."""
LEASE_MAX_MS = 3000
LEASE_DEFAULT_MS = 2000
DUTY_FULL = 1000
OFFSET_MIDDLE = 32768
"""A field that may be negative is sent with this added."""

U16 = 0xFFFF
U32 = 0xFFFFFFFF


class State(IntEnum):
    """State of the controller."""

    TRIPPED = 0
    READY = 1
    LIVE = 2


class TripReason(IntEnum):
    """Why the controller latched a safety stop."""

    NONE = 0
    POWER_ON = 1
    BROWN_OUT = 2
    WATCHDOG = 3
    UNKNOWN_BOOT = 4
    LIMITS_MISSING = 5
    BATH_OVER_LIMIT = 6
    GUARD_OVER_LIMIT = 7
    BATH_PROBE_FAULT = 8
    GUARD_PROBE_FAULT = 9
    PROBES_DISAGREE = 10
    CLIMB_TOO_FAST = 11
    HEATER_WELDED = 12
    HEATER_OPEN = 13
    CONTACTOR_MIRROR = 14
    CLIMB_WHILE_OFF = 15
    LEVEL_LOW = 16
    STIRRER_STOPPED = 17
    EMERGENCY_STOP = 18
    ELEMENT_FEED_STUCK = 19
    HEATER_ON_LIMIT = 20
    PROGRAM_MEMORY = 21
    PART_READ_BACK = 22
    REFERENCE_CHANNEL = 23
    STACK_OVERRUN = 24
    PROGRAM_FLOW = 25
    CLOCKS_DISAGREE = 26
    OFF_FAILED = 27
    STIRRER_SENSE = 28


class StopReason(IntEnum):
    """Why the controller last left LIVE without a trip; nothing is latched."""

    NONE = 0
    LEASE_OVER = 1
    RELEASED = 2
    HEAT_UNSEEN = 3


CAUSES_ALL = (1 << len(TripReason)) - 1


def standing_causes(causes: int) -> tuple[TripReason, ...]:
    """Return the causes that stand now, from a sample's bits."""
    return tuple(reason for reason in TripReason if causes >> reason & 1)


class RefusedReason(IntEnum):
    """Why the controller did not take a well-formed line."""

    OUT_OF_RANGE = 1
    WRONG_BOOT = 2
    NOT_NEWER = 3
    TOO_OLD = 4
    WRONG_STATE = 5
    CONTACTOR_CLOSED = 6
    BEYOND_CEILING = 7
    WRONG_TRIP = 8
    CAUSE_PRESENT = 9
    LIMITS_MISSING = 10
    STATION_ABSENT = 11
    WRONG_PROTOCOL = 12
    HEAT_STOPPED = 13
    UNSTIRRED = 14


class BootCause(IntEnum):
    """What started the controller, from its reset flags."""

    UNKNOWN = 0
    EXTERNAL = 1
    POWER_ON = 2
    BROWN_OUT = 3
    WATCHDOG = 4


class Board(IntEnum):
    """Which board the firmware was built for."""

    NATIVE = 1
    ATMEGA2560 = 2
    ATMEGA328P = 3


class Word(IntEnum):
    """Number of each message, used where one message names another."""

    HELLO = 1
    DEMAND = 2
    LIMITS = 3
    CLEAR = 4
    IDENTITY = 5
    SAMPLE = 6
    REFUSED = 7
    LIMITS_IN_FORCE = 8
    TRIP = 9


class Input(IntFlag):
    """Digital inputs in a sample; a set bit is the wording of its name."""

    LEVEL_OK = 1
    STIRRER_TURNING = 2
    EMERGENCY_STOP_CLOSED = 4
    HEATER_LIVE = 8
    CONTACTOR_OPEN = 16


class Output(IntFlag):
    """Digital outputs as the controller drives them at the end of the tick."""

    CONTACTOR = 1
    HEATER = 2
    ELEMENT_FEED = 4
    STIRRER = 8
    COOLING = 16
    HORN = 32


class StationFlag(IntFlag):
    """What the controller found wrong at one station; kept until the next LIVE begins."""

    ELEMENT_OVER = 1
    ELEMENT_OPEN = 2
    ELEMENT_SHORT = 4
    ELEMENT_TIME = 8
    GAUGE_FAULT = 16
    OVER_STROKE = 32
    ELEMENT_HOT = 64


@dataclass(frozen=True, slots=True)
class Range:
    """What one field may hold: least and greatest value, how many, and its meaning."""

    high: int
    meaning: str
    low: int = 0
    count: int = 1


Per = tuple[int, ...]


class Hello(NamedTuple):
    """Asks the controller who it is; it answers with `identity` and `limits_in_force`."""

    protocol: Annotated[int, Range(U16, "version of this table the host speaks", low=1)]


class Demand(NamedTuple):
    """What the host asks for until the lease is over; a lease of 0 gives everything back."""

    boot_id: Annotated[int, Range(U16, "boot the demand is meant for")]
    sequence: Annotated[int, Range(U32, "sequence of the sample it answers")]
    lease_ms: Annotated[int, Range(LEASE_MAX_MS, "how long the demand stays valid")]
    duty: Annotated[int, Range(DUTY_FULL, "bath heater duty in thousandths")]
    stirrer: Annotated[int, Range(1, "1 runs the stirrer")]
    cooling: Annotated[int, Range(1, "1 opens the cooling valve")]
    element_code: Annotated[Per, Range(4095, "element current set-point, DAC code", count=STATIONS)]


class Limits(NamedTuple):
    """Limits the controller guards; within the floors and ceilings compiled into it."""

    bath_limit_sum: Annotated[int, Range(131068, "bath probe trips above", low=1)]
    guard_limit_sum: Annotated[int, Range(131068, "guard probe trips above", low=1)]
    disagree_limit_sum: Annotated[int, Range(U16, "trips when the probes differ by more", low=1)]
    disagree_offset_sum: Annotated[
        int, Range(U16, "bath minus guard where both are right, plus OFFSET_MIDDLE")
    ]
    climb_limit_sum: Annotated[int, Range(U16, "trips on a larger rise within 10 s", low=1)]
    heater_on_limit_s: Annotated[int, Range(U16, "longest heater-on time of one LIVE", low=1)]
    heat_rise_sum: Annotated[int, Range(9999, "rise per 100 s of heater-on time, 0 unknown")]
    heat_loss_duty: Annotated[int, Range(DUTY_FULL, "duty that only holds the hottest bath")]
    element_max_code: Annotated[Per, Range(4095, "greatest element set-point", count=STATIONS)]
    element_on_limit_s: Annotated[Per, Range(U16, "longest unbroken on time", count=STATIONS)]
    lift_low_code: Annotated[Per, Range(4095, "gauge faulty below", count=STATIONS)]
    lift_high_code: Annotated[Per, Range(4095, "gauge faulty above", count=STATIONS)]
    over_stroke_code: Annotated[Per, Range(4095, "unit over its stroke above", count=STATIONS)]
    heat_delay_s: Annotated[int, Range(120, "from the heater's relay to the probes' reading")]
    probe_lag_s: Annotated[int, Range(120, "by how much one probe is slower than the other")]
    element_per_k: Annotated[
        Per, Range(99, "element's resistance per K, in 1e-5; 0 unknown", count=STATIONS)
    ]


class Clear(NamedTuple):
    """Lifts one latched trip; sent only on a person's act."""

    trip_number: Annotated[int, Range(U16, "number of the trip to clear")]


class Identity(NamedTuple):
    """Who the controller is and which trip it holds."""

    protocol: Annotated[int, Range(U16, "version of this table")]
    firmware: Annotated[int, Range(U16, "firmware version, major * 100 + minor")]
    board: Annotated[int, Range(max(Board), "see Board", low=1)]
    stations: Annotated[int, Range(STATIONS, "stations the board has", low=1)]
    reference_ohm: Annotated[int, Range(999, "reference resistors the ceilings are for", low=1)]
    boot_id: Annotated[int, Range(U16, "counts boots, kept in EEPROM")]
    boot_cause: Annotated[int, Range(max(BootCause), "see BootCause")]
    serial_number: Annotated[int, Range(U32, "of this controller, kept in EEPROM")]
    state: Annotated[int, Range(max(State), "see State")]
    trip_number: Annotated[int, Range(U16, "counts trips, kept in EEPROM")]
    trip_reason: Annotated[int, Range(max(TripReason), "see TripReason; 0 when none is latched")]
    trip_value: Annotated[int, Range(U32, "value that tripped, in the unit of its limit")]
    trip_limit: Annotated[int, Range(U32, "limit it passed")]


class Sample(NamedTuple):
    """One tick of measurement, all raw; sums are of the four scans of the tick."""

    boot_id: Annotated[int, Range(U16, "counts boots")]
    sequence: Annotated[int, Range(U32, "counts samples since boot")]
    device_ms: Annotated[int, Range(U32, "controller clock at the end of the tick, wraps")]
    state: Annotated[int, Range(max(State), "see State")]
    trip_reason: Annotated[int, Range(max(TripReason), "see TripReason")]
    stop_reason: Annotated[int, Range(max(StopReason), "see StopReason")]
    causes: Annotated[int, Range(CAUSES_ALL, "bit n: the cause TripReason n stands now")]
    demand_sequence: Annotated[int, Range(U32, "sequence in the last demand taken")]
    bath_sum: Annotated[int, Range(131068, "bath probe, sum of four 15-bit ratio codes")]
    bath_fault: Annotated[int, Range(255, "fault register of the bath probe's converter")]
    guard_sum: Annotated[int, Range(131068, "guard probe, as bath_sum")]
    guard_fault: Annotated[int, Range(255, "fault register of the guard probe's converter")]
    lift_sum: Annotated[Per, Range(U16, "lift gauge, sum of four 12-bit codes", count=STATIONS)]
    current_sum: Annotated[Per, Range(U16, "element current, as lift_sum", count=STATIONS)]
    voltage_sum: Annotated[Per, Range(U16, "element voltage, as lift_sum", count=STATIONS)]
    heater_on_ms: Annotated[int, Range(U32, "bath heater on since boot, wraps")]
    duty: Annotated[int, Range(DUTY_FULL, "duty in force, thousandths")]
    station_flags: Annotated[Per, Range(127, "see StationFlag", count=STATIONS)]
    inputs: Annotated[int, Range(31, "see Input")]
    outputs: Annotated[int, Range(63, "see Output")]
    refused: Annotated[int, Range(999, "lines refused since boot, wraps")]
    malformed: Annotated[int, Range(999, "lines not understood since boot, wraps")]


class Refused(NamedTuple):
    """Answers a well-formed line that was not taken."""

    word: Annotated[int, Range(max(Word), "see Word: the message refused", low=1)]
    sequence: Annotated[int, Range(U32, "its sequence where it had one, else 0")]
    reason: Annotated[int, Range(max(RefusedReason), "see RefusedReason", low=1)]


class LimitsInForce(NamedTuple):
    """The limits the controller now guards; `valid` 0 means it has none and will not heat."""

    valid: Annotated[int, Range(1, "1 when both copies in EEPROM agree or one could be repaired")]
    bath_limit_sum: Annotated[int, Range(131068, "as in limits", low=1)]
    guard_limit_sum: Annotated[int, Range(131068, "as in limits", low=1)]
    disagree_limit_sum: Annotated[int, Range(U16, "as in limits", low=1)]
    disagree_offset_sum: Annotated[int, Range(U16, "as in limits")]
    climb_limit_sum: Annotated[int, Range(U16, "as in limits", low=1)]
    heater_on_limit_s: Annotated[int, Range(U16, "as in limits", low=1)]
    heat_rise_sum: Annotated[int, Range(9999, "as in limits")]
    heat_loss_duty: Annotated[int, Range(DUTY_FULL, "as in limits")]
    element_max_code: Annotated[Per, Range(4095, "as in limits", count=STATIONS)]
    element_on_limit_s: Annotated[Per, Range(U16, "as in limits", count=STATIONS)]
    lift_low_code: Annotated[Per, Range(4095, "as in limits", count=STATIONS)]
    lift_high_code: Annotated[Per, Range(4095, "as in limits", count=STATIONS)]
    over_stroke_code: Annotated[Per, Range(4095, "as in limits", count=STATIONS)]
    heat_delay_s: Annotated[int, Range(120, "as in limits")]
    probe_lag_s: Annotated[int, Range(120, "as in limits")]
    element_per_k: Annotated[Per, Range(99, "as in limits", count=STATIONS)]


class Trip(NamedTuple):
    """Early notice of a trip; its reason also stands in every sample."""

    trip_number: Annotated[int, Range(U16, "counts trips")]
    reason: Annotated[int, Range(max(TripReason), "see TripReason", low=1)]
    value: Annotated[int, Range(U32, "value that tripped, in the unit of its limit")]
    limit: Annotated[int, Range(U32, "limit it passed")]


FromHost = Hello | Demand | Limits | Clear
FromController = Identity | Sample | Refused | LimitsInForce | Trip
Message = FromHost | FromController

FROM_HOST: tuple[type[FromHost], ...] = (Hello, Demand, Limits, Clear)
FROM_CONTROLLER: tuple[type[FromController], ...] = get_args(FromController)
MESSAGES: tuple[type[Message], ...] = (*FROM_HOST, *FROM_CONTROLLER)


def word_of(message: type[Message]) -> str:
    """Return the word that begins a message's line, e.g. `limits_in_force`."""
    name = message.__name__
    return "".join("_" + c.lower() if c.isupper() else c for c in name).lstrip("_")


def fields_of(message: type[Message]) -> tuple[tuple[str, Range], ...]:
    """Return the (name, range) pairs of a message's fields in wire order."""
    hints = get_type_hints(message, include_extras=True)
    return tuple((name, get_args(hint)[1]) for name, hint in hints.items())
