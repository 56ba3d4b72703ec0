"""What may harm a person or a unit: shapes of the one hazard table, and how its rows are used.

A hazard names who sees it, in the order of the layers; a guard says once for all hazards at which
level it acts, how soon, what it does, and how long nobody notices that it has failed.  The rows
stand in `hazard_rows`, the guards in `guards`; book and tests are made from them.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import Enum, StrEnum
from typing import NamedTuple

from proofbath.wire.table import RefusedReason, StationFlag, StopReason, TripReason
from proofbath.wire.watches import Before, Watch


class Wired(StrEnum):
    """What works with the controller dead, by its name in the drawings."""

    CUT_OUT = "cut-out S2"
    LEVEL_RELAY = "level relay K5"
    STOP = "emergency stop S1 in the coils"
    CONTACTOR = "contactor K1, two poles"
    FEED_CONTACTOR = "feed contactor K3"
    ISOLATOR = "main isolator Q1, by hand"
    FUSE = "fuse of each station"
    PULL_DOWNS = "pull-downs: every output off"
    DRIVE = "thermal protection of the drive"
    SHOCK = "residual current, earth, covers, extra-low voltage"
    LID = "lid on, vent open"


class Proof(StrEnum):
    """A proof by a person, by its name in the commissioning record."""

    RESIDUAL_CURRENT = "residual current"
    WIRING = "wiring"
    CUT_OUT_WIRING = "cut-out wiring"
    LOCAL_RULES = "local rules"
    EMERGENCY_STOP = "emergency stop"
    LEVEL = "level"
    STIRRER = "stirrer"
    BATH_PROBE = "bath probe"
    GUARD_PROBE = "guard probe"
    PROBES_APART = "probes apart"
    MIRROR_UNPLUGGED = "mirror unplugged"
    MIRROR_BRIDGED = "mirror bridged"
    WELDED_RELAY = "welded relay"
    HEATER_OPEN = "heater open"
    MAINS_LOST = "mains lost"
    BATH_LIMIT = "bath limit"
    GUARD_LIMIT = "guard limit"
    CLIMB = "climb"
    HEATER_TIME = "heater time"
    LEASE = "lease"
    ELEMENT_OPEN = "element open"
    ELEMENT_SHORT = "element short"
    ELEMENT_OVER = "element over"
    GAUGE = "gauge"
    STATION_OFF = "station off"
    CUT_OUT = "cut-out"
    CABLE = "cable pulled"
    POWER = "power failure"


Eye = TripReason | StopReason | StationFlag | RefusedReason | Watch | Before | Wired | Proof
"""Who sees a hazard."""


class Reaction(Enum):
    """What follows when a guard sees its hazard."""

    TRIP = "trip"
    STATION_OFF = "station off"
    STOP = "stop"
    REFUSED = "refused"
    RUN_ENDS = "run ends"
    ALARM = "alarm"
    CONTACTOR_OPENS = "contactor opens"
    BY_HAND = "by a person"
    NONE = "stands in the way"


class Latent(Enum):
    """How long nobody notices that a guard has failed."""

    AT_ONCE = "shows at once"
    RUN = "next run"
    PROOF = "next proof"
    RELEASE = "for good (tested with the program)"
    NEVER = "for good (only a look)"


class Guard(NamedTuple):
    """One guard: its level, how long that must last, what it does, how long it may be dead."""

    by: Eye
    level: str
    within: str
    reaction: Reaction
    latent: Latent
    proofs: tuple[Proof, ...] = ()


class Part(Enum):
    """A part of a night, in which a fault comes."""

    STIRRING = "stirring"
    SOAKING = "soaking"
    RISING = "rising"
    HOLDING = "holding"
    FALLING = "falling"
    POWER = "power"
    PAUSED = "paused"
    COOLING = "cooling"


class End(NamedTuple):
    """How a run with a fault ends: by whom, or with which flag at the station, or not at all."""

    by: tuple[TripReason | Watch, ...] = ()
    """Any of these; the first is what the controller holds where the run ends with another."""
    flag: StationFlag | None = None
    latched: TripReason = TripReason.NONE
    """What the controller holds behind the run, where that is not what ended it."""
    fed_a: tuple[float, ...] = ()
    """Currents of the stations at the end of the power step, where they are judged."""


GOES_ON = End()


class Fault(NamedTuple):
    """A fault of the plant, how the run ends with it, and the parts in which that differs."""

    kind: str
    end: End
    differs: Mapping[Part, End] = {}
    size: float = 0.0
    seems_closed: bool = False
    """Whether the contactor is said to be closed when all is over."""


class Between(StrEnum):
    """What goes wrong between host and controller."""

    PLUG = "plug pulled"
    MUTE = "controller mute"
    NOISE = "noise on the line"
    RESET = "boot EXTERNAL"
    POWER_ON = "boot POWER_ON"
    BROWN_OUT = "boot BROWN_OUT"
    WATCHDOG = "boot WATCHDOG"


class Link(NamedTuple):
    """A disturbance between host and controller and how the run ends with it."""

    kind: Between
    end: End
    differs: Mapping[Part, End] = {}
    size: float = 0.0
    seems_closed: bool = False


class ByTest(NamedTuple):
    """Tests of their own, by node, that provoke what no fault of a night does."""

    shows: tuple[Eye, ...]
    nodes: tuple[str, ...]


Provoked = Fault | Link | ByTest


class Harm(Enum):
    """What is at stake, in the order of the safety page."""

    HEAT = "Heat in the bath"
    ELEMENT = "Elements and units"
    CONTROL = "Controller, cable and power"
    PERSON = "People"
    VALUE = "Values only"


class Hazard(NamedTuple):
    """One hazard with its layers, each behind the one before; the first is meant to act."""

    name: str
    harm: Harm
    cause: str
    layers: tuple[Eye, ...]
    provoked: tuple[Provoked, ...]
    left: str
    """What remains when all of that fails."""


def trips(*reasons: TripReason) -> End:
    """The run ends with a trip for any of these reasons."""
    return End(reasons)


def ends(watch: Watch, latched: TripReason = TripReason.NONE) -> End:
    """The host ends the run."""
    return End((watch,), latched=latched)


def costs_the_station(flag: StationFlag, fed_a: tuple[float, ...] = (0.5, 0.0, 0.5)) -> End:
    """The faulty station is off, the run goes on to its end."""
    return End(flag=flag, fed_a=fed_a)


def key(eye: Eye) -> tuple[type, Eye]:
    """Return what tells apart members of different kinds whose numbers are equal."""
    return type(eye), eye
