"""What each trip, stop and station flag means and what to do about it: one text for all to say.

Pages, MQTT and the book's page of trips take their words from here.
"""

from __future__ import annotations

from enum import Enum
from typing import NamedTuple

from proofbath.wire.guard_levels import seconds_of, value_of
from proofbath.wire.table import StationFlag, StopReason, TripReason


class Clears(Enum):
    """What lifts a trip."""

    CAUSE = "cause"
    BOOT = "boot"


class Saying(NamedTuple):
    """What happened and what to do."""

    what: str
    remedy: str
    clears: Clears = Clears.CAUSE
    repair: bool = False
    """Whether something that must switch off does not, or the controller cannot be believed."""


ISOLATE = "isolate the bench at Q1 before you touch it"
LOOK_FIRST = "look at the whole bench before any heat"
_REPLACE = "if it happens again, replace the controller"


def _s(name: str) -> str:
    return f"{seconds_of(name):g} s"


TRIP_WORDS: dict[TripReason, Saying] = {
    TripReason.POWER_ON: Saying(
        "the controller was switched on; nothing heats by itself",
        f"was it you? otherwise mains or its supply failed: {LOOK_FIRST},"
        " then start with the trip cleared",
    ),
    TripReason.BROWN_OUT: Saying(
        "the controller's 5 V supply sagged below 4.3 V",
        f"check its supply, its plug, and whether something large was switched on; {LOOK_FIRST}",
    ),
    TripReason.WATCHDOG: Saying(
        "the controller's program hung and was restarted",
        f"once, it was a disturbance on the mains; {LOOK_FIRST}; {_REPLACE}",
    ),
    TripReason.UNKNOWN_BOOT: Saying(
        "the controller started and does not know why, or its memory of the last trip is damaged",
        "look for a bootloader that must not be there and at the reset line;"
        f" {LOOK_FIRST}; {_REPLACE}",
    ),
    TripReason.LIMITS_MISSING: Saying(
        "the controller has no limits to guard by",
        "after flashing this is right: start again, a night writes them before heat;"
        " otherwise its EEPROM is worn, replace the controller",
    ),
    TripReason.BATH_OVER_LIMIT: Saying(
        f"the bath probe read more than the night's limit for {_s('probe_samples')}",
        "let the bath cool with the lid on; look for heat that nobody asked for, for a coolant"
        f" with too little glycol and for a probe that reads high; {ISOLATE}",
    ),
    TripReason.GUARD_OVER_LIMIT: Saying(
        f"the guard probe read more than the night's limit for {_s('probe_samples')}",
        "let the bath cool with the lid on; look for heat that nobody asked for and compare both"
        f" probes; {ISOLATE}",
    ),
    TripReason.BATH_PROBE_FAULT: Saying(
        "the bath probe is open, shorted, or not believable",
        "check its plug, its cable, and its sheath for coolant",
    ),
    TripReason.GUARD_PROBE_FAULT: Saying(
        "the guard probe is open, shorted, or not believable",
        "check its plug, its cable, and its sheath for coolant",
    ),
    TripReason.PROBES_DISAGREE: Saying(
        f"bath probe and guard probe were apart beyond the limit for {_s('disagree_samples')}",
        "check that both hang in the stirred bath; check both at the ice point",
    ),
    TripReason.CLIMB_TOO_FAST: Saying(
        "the bath rose more within 10 s than heater and bath can make",
        "check level, stirrer, the places of both probes and whether a relay is stuck on;"
        f" {ISOLATE}",
    ),
    TripReason.HEATER_WELDED: Saying(
        "the heater takes current although its relay is off",
        f"{ISOLATE}; the relay is shorted: have it replaced, and ask why it got hot",
        repair=True,
    ),
    TripReason.HEATER_OPEN: Saying(
        f"the heater's relay is on and no current flowed for {_s('heater_open_ms')}",
        f"check its isolator, the fuse F2, the heater and the current sense; {ISOLATE}",
    ),
    TripReason.CONTACTOR_MIRROR: Saying(
        "the contactor is not where it was told to be",
        "where it stays closed its contacts are welded; where it stays open, look for a pressed"
        f" stop, an open cut-out, lost mains, its coil or its mirror contact; {ISOLATE}",
        repair=True,
    ),
    TripReason.CLIMB_WHILE_OFF: Saying(
        f"the bath climbed by {value_of('quiet_climb_mk') / 1000:g} K with everything switched off",
        "isolate the bench at Q1 at once; look for a path past the relay, or a welded relay behind"
        " a broken current sense",
        repair=True,
    ),
    TripReason.LEVEL_LOW: Saying(
        f"the bath's level was low for {_s('level_low_ms')}",
        "let it cool below 45 °C, then look for a leak, evaporation, or a float that sticks, and"
        " fill to the line; never pour cold water into a hot bath",
    ),
    TripReason.STIRRER_STOPPED: Saying(
        f"the stirrer was asked to turn and stood still for {_s('not_turning_ms')}",
        "check its coupling, its thermal protection and the rotation sensor; never turn it by hand",
    ),
    TripReason.EMERGENCY_STOP: Saying(
        "the emergency stop was pressed, or its circuit broke",
        "ask who pressed it and why; release it when the cause is gone",
    ),
    TripReason.ELEMENT_FEED_STUCK: Saying(
        "current flows at a station that is switched off",
        f"switch the element supply off by hand; {ISOLATE}; a station switch, its driver or the"
        " feed contactor does not open",
        repair=True,
    ),
    TripReason.HEATER_ON_LIMIT: Saying(
        "the heater was on for longer in all than the night may take",
        "check lid, level and cooling valve and the bath's figures; then plan the night anew",
    ),
    TripReason.PROGRAM_MEMORY: Saying(
        "the program in the controller's flash memory is damaged",
        "flash it again; if it is damaged again, replace the controller",
        Clears.BOOT,
        repair=True,
    ),
    TripReason.PART_READ_BACK: Saying(
        f"a converter did not hold what was written to it for {_s('part_samples')}",
        "check the converter board's wiring and its supply",
        repair=True,
    ),
    TripReason.REFERENCE_CHANNEL: Saying(
        "a converter reads its reference channel wrong by more than 1 %",
        "check the reference, its supply, and the converter",
        repair=True,
    ),
    TripReason.STACK_OVERRUN: Saying(
        "the controller's program used memory that was not its own",
        "replace firmware or controller, and tell the makers",
        repair=True,
    ),
    TripReason.PROGRAM_FLOW: Saying(
        "the duties of the controller's program did not come in their order",
        "replace firmware or controller, and tell the makers",
        repair=True,
    ),
    TripReason.CLOCKS_DISAGREE: Saying(
        "the controller's two clocks differ by more than a fifth",
        "its crystal is wrong: replace the controller",
        Clears.BOOT,
        repair=True,
    ),
    TripReason.OFF_FAILED: Saying(
        "heater or element current goes on although everything is switched off",
        "pull the main switch Q1 now, then unplug the supply of the elements; keep away from the"
        " bath; a licensed electrician finds the welded contacts",
        repair=True,
    ),
    TripReason.STIRRER_SENSE: Saying(
        "the rotation sensor says turning 5 s after the stirrer was switched off",
        "look at the rotation sensor and its wire: it must read still when the stirrer stands",
    ),
}

STOP_WORDS: dict[StopReason, Saying] = {
    StopReason.LEASE_OVER: Saying(
        "the host's last demand ran out and no newer one came; everything went off",
        "check the cable and the host's computer",
    ),
    StopReason.RELEASED: Saying("the host gave the bench back; everything went off", "nothing"),
    StopReason.HEAT_UNSEEN: Saying(
        "heat went in and a probe did not show its share of the rise; everything went off",
        "the lid is open, the bath boils, or both probes are stuck or out of the bath: put it"
        " right, then start anew; until then the controller refuses to heat",
    ),
}

FLAG_WORDS: dict[StationFlag, Saying] = {
    StationFlag.ELEMENT_OVER: Saying(
        f"more current than asked for, by a tenth and {value_of('element_over_ma')} mA",
        "look at the driver, for a bypass, for a wire that touches",
    ),
    StationFlag.ELEMENT_OPEN: Saying(
        "no current where some was asked for",
        "look at the plug, the heater, the fuse of the station; the supply may be too low",
    ),
    StationFlag.ELEMENT_SHORT: Saying(
        f"less than {value_of('element_short_ohm')} ohm",
        "look at the leads, for water in the plug, for a burnt heater",
    ),
    StationFlag.ELEMENT_TIME: Saying(
        "fed for longer than the plan's own steps and a quarter, without a break",
        "the host does not end its step, or element_on_limit_s of the bench file is too short",
    ),
    StationFlag.GAUGE_FAULT: Saying(
        f"the gauge was outside its electrical window for {_s('gauge_ms')}",
        "look at plug and cable, a rod off the unit, no pre-load",
    ),
    StationFlag.OVER_STROKE: Saying(
        "lifted beyond the type's stop; the bath may not rise any more",
        "let it cool, hot wax may come out; the element is over-filled or the gauge slipped",
    ),
    StationFlag.ELEMENT_HOT: Saying(
        "the element's resistance says it is far hotter than the bath",
        "air stands round it or its wax is gone: let it cool, take the unit out, look at it",
    ),
}

END_WORDS: dict[str, Saying] = {
    "stopped": Saying(
        "the run was stopped",
        "ask who stopped it and why; then go on with proofbath resume, or plan the night anew",
    ),
    "lost": Saying(
        "the link to the controller was lost; it switched off by itself within the lease",
        "check the cable and the controller's supply; then go on with proofbath resume",
    ),
    "killed": Saying(
        "the program was cut off; the controller switched off by itself within the lease",
        "check the computer's power; what was measured is kept; go on with proofbath resume",
    ),
    "failed": Saying(
        "the program or a part of it failed", "read the reason; keep the journal; plan anew"
    ),
}
"""How runs end that are neither done nor tripped, by their status in the journal."""


def end_words(status: str, trip: str | None) -> Saying:
    """Return what ended a run and what to do about it; `trip` is the trip's name, if any."""
    if trip is not None:
        return TRIP_WORDS[TripReason[trip.upper()]]
    return END_WORDS.get(status, Saying(f"the run ended, {status}", LOOK_FIRST))


def flag_names(flags: int) -> list[str]:
    """Return what is wrong at a station, the words of each flag that is set."""
    return [words.what for flag, words in FLAG_WORDS.items() if flags & flag]
