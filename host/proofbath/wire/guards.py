"""Every guard of the bench, one row each: level, persistence, reaction, how long it may be dead.

The controller's levels come from `guard_levels`, from which its header is generated too.
"""

from __future__ import annotations

from proofbath.wire.guard_levels import seconds_of, value_of
from proofbath.wire.hazards import Eye, Guard, Latent, Proof, Reaction, Wired, key
from proofbath.wire.table import (
    LEASE_DEFAULT_MS,
    LEASE_MAX_MS,
    OLDEST_ANSWER_TICKS,
    RefusedReason,
    StationFlag,
    StopReason,
    TripReason,
)
from proofbath.wire.watches import BEHIND, Before, Watch

T, S = TripReason, StationFlag


def _s(name: str) -> str:
    return f"{seconds_of(name):g} s"


def _trip(by: TripReason, level: str, within: str, latent: Latent, *proofs: Proof) -> Guard:
    return Guard(by, level, within, Reaction.TRIP, latent, proofs)


def _flag(by: StationFlag, level: str, within: str, latent: Latent, *proofs: Proof) -> Guard:
    return Guard(by, level, within, Reaction.STATION_OFF, latent, proofs)


_PLAUSIBLE = (
    "fault of the converter, or outside"
    f" {value_of('probe_lowest_mc') / 1000:g} to {value_of('probe_highest_mc') / 1000:g} °C"
)
_CEILING = f"the run's limit, {value_of('bath_ceiling_mc') / 1000:g} °C at most"
_JUDGED = f"{value_of('element_judged_ma')} mA"
_SETTLED = f"{_s('element_samples')}, from {_s('element_settle_ms')} after a change on"
_ON_CEILING = f"the run's limit, {value_of('heater_on_ceiling_s') / 3600:g} h at most"
_FED_CEILING = f"the run's limit, {value_of('element_on_ceiling_s') / 3600:g} h at most"
_BAND = f"reference channel {value_of('reference_band_code')} counts off its code"

TRIPS = (
    _trip(T.POWER_ON, "power returns", "boot", Latent.PROOF, Proof.POWER),
    _trip(T.BROWN_OUT, "5 V supply below 4.3 V", "boot", Latent.RELEASE),
    _trip(T.WATCHDOG, "program hangs", "1 s, in hardware", Latent.RELEASE),
    _trip(T.UNKNOWN_BOOT, "cause of the start unknown, latch damaged", "boot", Latent.RELEASE),
    _trip(T.LIMITS_MISSING, "both stored copies of the limits bad", "boot", Latent.RELEASE),
    _trip(
        T.BATH_OVER_LIMIT, _CEILING, _s("probe_samples"), Latent.PROOF, Proof.BATH_LIMIT
    ),
    _trip(
        T.GUARD_OVER_LIMIT, _CEILING, _s("probe_samples"), Latent.PROOF, Proof.GUARD_LIMIT
    ),
    _trip(
        T.BATH_PROBE_FAULT, _PLAUSIBLE, _s("probe_samples"), Latent.PROOF, Proof.BATH_PROBE
    ),
    _trip(
        T.GUARD_PROBE_FAULT, _PLAUSIBLE, _s("probe_samples"), Latent.PROOF, Proof.GUARD_PROBE
    ),
    _trip(
        T.PROBES_DISAGREE,
        "the run's limit and the lag's share of the climb, stirred for"
        f" {_s('disagree_stirred_ms')}; before that {value_of('disagree_wide_mk') / 1000:g} K",
        _s("disagree_samples"),
        Latent.PROOF,
        Proof.PROBES_APART,
    ),
    _trip(
        T.CLIMB_TOO_FAST,
        f"the run's limit, {value_of('climb_ceiling_mk') * 6 / 1000:.0f} K/min at most",
        "10 s, while live",
        Latent.PROOF,
        Proof.CLIMB,
    ),
    _trip(
        T.HEATER_WELDED, "current, relay off", _s("heater_welded_ms"), Latent.PROOF,
        Proof.WELDED_RELAY,
    ),
    _trip(
        T.HEATER_OPEN, "no current, relay on", f"{_s('heater_open_ms')} of on-time", Latent.PROOF,
        Proof.HEATER_OPEN,
    ),
    _trip(
        T.CONTACTOR_MIRROR, "mirror contact against the coil", _s("mirror_ms"), Latent.RUN,
        Proof.MIRROR_UNPLUGGED, Proof.MIRROR_BRIDGED, Proof.MAINS_LOST,
    ),
    _trip(
        T.CLIMB_WHILE_OFF,
        f"climb of {value_of('quiet_climb_mk') / 1000:g} K with everything off,"
        f" above {value_of('quiet_floor_mc') / 1000:g} °C, stirred",
        f"from {_s('quiet_heater_ms')} after the last heat on",
        Latent.RELEASE,
    ),
    _trip(T.LEVEL_LOW, "float's contact open", _s("level_low_ms"), Latent.PROOF, Proof.LEVEL),
    _trip(
        T.STIRRER_STOPPED, "driven and not turning", _s("not_turning_ms"), Latent.PROOF,
        Proof.STIRRER,
    ),
    _trip(T.EMERGENCY_STOP, "loop open", _s("stop_ms"), Latent.PROOF, Proof.EMERGENCY_STOP),
    _trip(
        T.ELEMENT_FEED_STUCK, f"{_JUDGED} at a station that is off",
        f"at once, from {_s('element_settle_ms')} after a change on", Latent.PROOF,
        Proof.ELEMENT_OVER, Proof.STATION_OFF,
    ),
    _trip(T.HEATER_ON_LIMIT, _ON_CEILING, "at once", Latent.PROOF, Proof.HEATER_TIME),
    _trip(T.PROGRAM_MEMORY, "checksum of the flash wrong", "boot", Latent.RELEASE),
    _trip(T.PART_READ_BACK, "a register not as written", _s("part_samples"), Latent.RELEASE),
    _trip(T.REFERENCE_CHANNEL, _BAND, _s("part_samples"), Latent.RELEASE),
    _trip(T.STACK_OVERRUN, "marked bytes overwritten", "one tick", Latent.RELEASE),
    _trip(T.PROGRAM_FLOW, "a duty left out or out of order", "one tick", Latent.RELEASE),
    _trip(T.CLOCKS_DISAGREE, "two clocks a fifth apart", "boot", Latent.RELEASE),
    _trip(T.OFF_FAILED, f"heater current, or {_JUDGED} at a station, with everything off",
          _s("off_failed_ms"),
          Latent.PROOF, Proof.WELDED_RELAY, Proof.ELEMENT_OVER),
    _trip(T.STIRRER_SENSE, "turning while its drive is off", _s("stirrer_sense_ms"), Latent.RUN),
)  # fmt: skip

FLAGS = (
    _flag(
        S.ELEMENT_OVER, f"a tenth and {value_of('element_over_ma')} mA over the set-point",
        _SETTLED, Latent.PROOF, Proof.ELEMENT_OVER,
    ),
    _flag(
        S.ELEMENT_OPEN, f"a quarter of the set-point, judged from {_JUDGED} on", _SETTLED,
        Latent.PROOF, Proof.ELEMENT_OPEN,
    ),
    _flag(
        S.ELEMENT_SHORT, f"below {value_of('element_short_ohm')} ohm, judged from {_JUDGED} on",
        _SETTLED, Latent.PROOF, Proof.ELEMENT_SHORT,
    ),
    _flag(S.ELEMENT_TIME, _FED_CEILING, "at once", Latent.RELEASE),
    _flag(S.GAUGE_FAULT, "outside its window", _s("gauge_ms"), Latent.PROOF, Proof.GAUGE),
    _flag(S.OVER_STROKE, "beyond the type's stop", _s("gauge_ms"), Latent.RELEASE),
    _flag(S.ELEMENT_HOT, "resistance against the first second's", "3 s", Latent.RELEASE),
)  # fmt: skip

STOPS = (
    Guard(
        StopReason.LEASE_OVER,
        f"no demand for {LEASE_DEFAULT_MS / 1000:g} s, {LEASE_MAX_MS / 1000:g} s at most",
        "at once; contactor 1 s later", Reaction.STOP, Latent.PROOF, (Proof.LEASE, Proof.CABLE),
    ),
    Guard(
        StopReason.RELEASED, "the host gives the bench back", "at once; contactor 1 s later",
        Reaction.STOP, Latent.RUN,
    ),
    Guard(
        StopReason.HEAT_UNSEEN, "a third of a predicted rise of 2 K or more missing", "120 s",
        Reaction.STOP, Latent.RELEASE,
    ),
)  # fmt: skip

REFUSALS = tuple(
    Guard(by, level, "at once", Reaction.REFUSED, Latent.RELEASE)
    for by, level in (
        (RefusedReason.OUT_OF_RANGE, "a number outside its range"),
        (RefusedReason.WRONG_BOOT, "a line for another boot"),
        (RefusedReason.NOT_NEWER, "a demand twice"),
        (RefusedReason.TOO_OLD, f"a demand older than {OLDEST_ANSWER_TICKS} ticks"),
        (RefusedReason.WRONG_STATE, "a line that does not fit the state"),
        (RefusedReason.CONTACTOR_CLOSED, "limits while heat is possible"),
        (RefusedReason.BEYOND_CEILING, "a limit or set-point beyond what is compiled in"),
        (RefusedReason.WRONG_TRIP, "a clear for another trip"),
        (RefusedReason.CAUSE_PRESENT, "a clear while the cause stands"),
        (RefusedReason.LIMITS_MISSING, "a demand without limits"),
        (RefusedReason.STATION_ABSENT, "a current for a station the board lacks"),
        (RefusedReason.WRONG_PROTOCOL, "a host of another protocol"),
        (RefusedReason.HEAT_STOPPED, "heat after a stop for heat unseen"),
        (RefusedReason.UNSTIRRED, "element current without the stirrer"),
    )
)

WATCHES = tuple(
    Guard(
        watch,
        f"`{watch.pattern}`",
        "",
        Reaction.RUN_ENDS if watch.value.ends else Reaction.ALARM,
        Latent.RELEASE,
    )
    for watch in (*(w for w in Watch if w not in BEHIND), *BEHIND)
)
CHECKS = tuple(
    Guard(by, level, "before heat", Reaction.REFUSED, Latent.RELEASE)
    for by, level in (
        (Before.PLAN, "a step above 3 K below boiling, a unit's cap, or an element's limits"),
        (Before.FILL, "a fill that does not last the night twice over"),
        (Before.AT_REST, "level, stop, contactor, currents, probes or gauges not in order"),
        (Before.FLOAT, "an unattended night whose float was not seen low since the last filling"),
        (Before.PROOF, "an unattended night without a complete proof of the last 365 days"),
        (Before.WORD, "a trip that nobody cleared by a word of their own"),
        (Before.GUIDE, "a loading that nobody was led through, unless it is said to be left out"),
        (Before.REFERENCE, "a calibration for resistors 1 % off the controller's"),
    )
)

W, OPENS, STANDS = Wired, Reaction.CONTACTOR_OPENS, Reaction.NONE
WIRED = (
    Guard(
        W.CUT_OUT, "5 K above the guard limit, own sensor", "its sensor's lag", OPENS,
        Latent.PROOF, (Proof.CUT_OUT, Proof.CUT_OUT_WIRING),
    ),
    Guard(W.LEVEL_RELAY, "float's contact open", "2 s", OPENS, Latent.NEVER),
    Guard(W.STOP, "pressed", "at once", OPENS, Latent.PROOF, (Proof.EMERGENCY_STOP,)),
    Guard(W.CONTACTOR, "coil without current", "its own time", OPENS, Latent.RUN),
    Guard(W.FEED_CONTACTOR, "coil without current", "its own time", OPENS, Latent.NEVER),
    Guard(W.ISOLATOR, "a hand", "when somebody comes", Reaction.BY_HAND, Latent.AT_ONCE),
    Guard(W.FUSE, "2 A", "its own time", STANDS, Latent.NEVER),
    Guard(W.PULL_DOWNS, "controller without a program", "at once", STANDS, Latent.NEVER),
    Guard(W.DRIVE, "drive too hot", "its own time", STANDS, Latent.NEVER),
    Guard(
        W.SHOCK, "30 mA to earth", "its own time", STANDS, Latent.PROOF,
        (Proof.RESIDUAL_CURRENT, Proof.WIRING),
    ),
    Guard(W.LID, "a look", "", STANDS, Latent.AT_ONCE),
)  # fmt: skip

GUARDS: tuple[Guard, ...] = (*TRIPS, *FLAGS, *STOPS, *REFUSALS, *WATCHES, *CHECKS, *WIRED)

_BY_EYE = {key(guard.by): guard for guard in GUARDS}


def guard_of(eye: Eye) -> Guard:
    """Return the row of a guard; raises KeyError where there is none."""
    return _BY_EYE[key(eye)]
