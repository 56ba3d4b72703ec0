"""What the controller found, in words for the person at the bench, and what to do about it."""

from __future__ import annotations

from typing import NamedTuple

from proofbath.wire.table import Input, Output, StationFlag, TripReason


class Saying(NamedTuple):
    """What happened and what to do."""

    what: str
    remedy: str


ISOLATE = "isolate the bench from the mains before you touch it"
LOOK_FIRST = "look at the whole bench before any heat"
_CONTROLLER = f"{LOOK_FIRST}; if it happens again, replace the controller"

TRIP_WORDS: dict[TripReason, Saying] = {
    TripReason.POWER_ON: Saying(
        "the controller was switched on", f"{LOOK_FIRST}, then start with the trip cleared"
    ),
    TripReason.BROWN_OUT: Saying(
        "the controller's supply voltage fell", f"check its supply; {LOOK_FIRST}"
    ),
    TripReason.WATCHDOG: Saying("the controller hung and restarted itself", _CONTROLLER),
    TripReason.UNKNOWN_BOOT: Saying("the controller restarted, why is not known", _CONTROLLER),
    TripReason.LIMITS_MISSING: Saying(
        "the controller has no limits to guard", "start again: a night writes them before heat"
    ),
    TripReason.BATH_OVER_LIMIT: Saying(
        "the bath is hotter than the night's limit",
        f"let it cool with the lid on; look for heat that stays on ({ISOLATE})",
    ),
    TripReason.GUARD_OVER_LIMIT: Saying(
        "the guard probe reads more than the night's limit",
        f"let the bath cool with the lid on; compare both probes ({ISOLATE})",
    ),
    TripReason.BATH_PROBE_FAULT: Saying(
        "the bath probe gives no reading", "check its plug and wires"
    ),
    TripReason.GUARD_PROBE_FAULT: Saying(
        "the guard probe gives no reading", "check its plug and wires"
    ),
    TripReason.PROBES_DISAGREE: Saying(
        "bath probe and guard probe disagree",
        "check that both hang in the stirred bath; check the probes at the ice point",
    ),
    TripReason.CLIMB_TOO_FAST: Saying(
        "the bath climbs faster than it can when it is full",
        f"check level, stirrer and both probes' places ({ISOLATE})",
    ),
    TripReason.HEATER_WELDED: Saying(
        "the heater draws current although it is off",
        f"{ISOLATE}: its relay is welded and must be replaced",
    ),
    TripReason.HEATER_OPEN: Saying(
        "the heater takes no current although it is on",
        f"check its isolator, fuse and element ({ISOLATE})",
    ),
    TripReason.CONTACTOR_MIRROR: Saying(
        "the contactor is not where it was told to be",
        f"check mains supply, cut-out and contactor ({ISOLATE})",
    ),
    TripReason.CLIMB_WHILE_OFF: Saying(
        "the bath climbs with everything switched off",
        f"{ISOLATE} at once and look for the heat",
    ),
    TripReason.LEVEL_LOW: Saying(
        "the bath's level is low", "let it cool below 45 °C, fill it to its line, look for a leak"
    ),
    TripReason.STIRRER_STOPPED: Saying(
        "the stirrer does not turn", "check its drive and whether something blocks it"
    ),
    TripReason.EMERGENCY_STOP: Saying(
        "the emergency stop was pressed",
        "ask who pressed it and why; release it when the cause is gone",
    ),
    TripReason.ELEMENT_FEED_STUCK: Saying(
        "element current flows that nobody asked for",
        f"{ISOLATE}: the element feed or a station switch does not open",
    ),
    TripReason.HEATER_ON_LIMIT: Saying(
        "the heater was on longer than the night allows",
        "check lid, level and the bath's figures; then plan the night anew",
    ),
    TripReason.PROGRAM_MEMORY: Saying("the controller's program memory is damaged", _CONTROLLER),
    TripReason.PART_READ_BACK: Saying("a converter does not keep what it was told", _CONTROLLER),
    TripReason.REFERENCE_CHANNEL: Saying("a converter's reference channel is off", _CONTROLLER),
    TripReason.STACK_OVERRUN: Saying("the controller ran out of memory", _CONTROLLER),
    TripReason.PROGRAM_FLOW: Saying("the controller's program went astray", _CONTROLLER),
    TripReason.CLOCKS_DISAGREE: Saying("the controller's two clocks disagree", _CONTROLLER),
}

END_WORDS: dict[str, Saying] = {
    "stopped": Saying(
        "the run was stopped",
        "ask who stopped it and why; then go on with proofbath resume, or plan the night anew",
    ),
    "lost": Saying(
        "the link to the controller was lost; it switched off by itself within 2 s",
        "check the cable and the controller's supply; then go on with proofbath resume",
    ),
    "killed": Saying(
        "the program was cut off; the controller switched off by itself within 2 s",
        "check the computer's power; what was measured is kept; go on with proofbath resume",
    ),
    "failed": Saying(
        "the program or a part of it failed", "read the reason; keep the journal; plan anew"
    ),
}
"""How runs end that are neither done nor tripped, by their status in the journal."""


def trip_words(reason: TripReason) -> Saying:
    """Return what a trip means and what to do; one without words says its name."""
    name = reason.name.lower().replace("_", " ")
    return TRIP_WORDS.get(reason, Saying(f"the controller tripped: {name}", LOOK_FIRST))


def end_words(status: str, trip: str | None) -> Saying:
    """Return what ended a run and what to do about it; `trip` is the trip's name, if any."""
    if trip is not None:
        return trip_words(TripReason[trip.upper()])
    return END_WORDS.get(status, Saying(f"the run ended, {status}", LOOK_FIRST))


FLAG_WORDS: dict[StationFlag, str] = {
    StationFlag.ELEMENT_OVER: "more current than asked for",
    StationFlag.ELEMENT_OPEN: "element open: no current flows",
    StationFlag.ELEMENT_SHORT: "element shorted",
    StationFlag.ELEMENT_TIME: "element fed longer than allowed",
    StationFlag.GAUGE_FAULT: "gauge gives no reading",
    StationFlag.OVER_STROKE: "lifted beyond its stroke",
}

_INPUT_WORDS = (
    (Input.LEVEL_OK, False, "level low"),
    (Input.STIRRER_TURNING, True, "stirrer turns"),
    (Input.EMERGENCY_STOP_CLOSED, False, "emergency stop pressed"),
    (Input.HEATER_LIVE, True, "heater draws current"),
    (Input.CONTACTOR_OPEN, False, "contactor is closed"),
)
_OUTPUT_WORDS = (
    (Output.CONTACTOR, "contactor told to close"),
    (Output.ELEMENT_FEED, "element feed on"),
    (Output.COOLING, "cooling on"),
)


def flags_in_words(flags: int) -> list[str]:
    """Return what is wrong at a station."""
    return [words for flag, words in FLAG_WORDS.items() if flags & flag]


def outputs_in_words(inputs: int, outputs: int) -> list[str]:
    """Return what is switched on and what the bench shows of itself."""
    shown = [words for flag, wanted, words in _INPUT_WORDS if bool(inputs & flag) == wanted]
    return shown + [words for flag, words in _OUTPUT_WORDS if outputs & flag]
