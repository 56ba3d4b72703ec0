"""The sequencer's states and its one transition table; a pair that is not in it raises."""

from __future__ import annotations

from enum import Enum

from proofbath.errors import BenchFaultError


class Phase(Enum):
    """What the sequencer is doing."""

    # A member is the only one of its kind; Enum's own hash is slow, and asked for every sample.
    __hash__ = object.__hash__

    WAITING = "waiting for the controller"
    STIRRING = "stirring before heat"
    SOAKING = "soaking"
    RAMPING = "ramping"
    HOLDING = "holding"
    ENERGISING = "energising"
    DRIVING = "driving the heater"
    PAUSED = "paused"
    DONE = "done"
    STOPPED = "stopped"
    TRIPPED = "tripped"
    LOST = "lost"


class Kind(Enum):
    """What may happen to the sequencer."""

    __hash__ = object.__hash__

    READY = "sample, controller ready"
    LIVE = "sample, controller live"
    TRIP = "sample, controller tripped"
    SILENT = "no sample for a second"
    GONE = "link given up"
    REBOOTED = "controller restarted"
    STOP = "operator stops"
    PAUSE = "operator pauses"
    RESUME = "operator resumes"
    FINISH = "operator finishes early"
    NEXT_SOAK = "next step is a soak"
    NEXT_RAMP = "next step is a ramp"
    NEXT_HOLD = "next step is a hold"
    NEXT_ENERGISE = "next step feeds the elements"
    NEXT_DRIVE = "next step drives the heater"
    NO_NEXT = "no step is left"
    GIVE_UP = "the run cannot go on"


END = frozenset({Phase.DONE, Phase.STOPPED, Phase.TRIPPED, Phase.LOST})
WORKING = frozenset({Phase.SOAKING, Phase.RAMPING, Phase.HOLDING, Phase.ENERGISING, Phase.DRIVING})

_NEXT_STEP = {
    Kind.NEXT_SOAK: Phase.SOAKING,
    Kind.NEXT_RAMP: Phase.RAMPING,
    Kind.NEXT_HOLD: Phase.HOLDING,
    Kind.NEXT_ENERGISE: Phase.ENERGISING,
    Kind.NEXT_DRIVE: Phase.DRIVING,
}


def _table() -> dict[tuple[Phase, Kind], Phase]:
    table: dict[tuple[Phase, Kind], Phase] = {}
    for phase in Phase:
        over = phase in END
        table[phase, Kind.READY] = phase
        table[phase, Kind.LIVE] = phase
        table[phase, Kind.TRIP] = phase if over else Phase.TRIPPED
        table[phase, Kind.SILENT] = phase
        table[phase, Kind.GONE] = phase if over else Phase.LOST
        table[phase, Kind.REBOOTED] = phase if over else Phase.LOST
        table[phase, Kind.STOP] = phase if over else Phase.STOPPED
        table[phase, Kind.PAUSE] = Phase.PAUSED if phase in WORKING else phase
        table[phase, Kind.RESUME] = phase
        table[phase, Kind.FINISH] = phase
    for phase in (Phase.STIRRING, Phase.PAUSED, *WORKING):
        table |= {(phase, kind): then for kind, then in _NEXT_STEP.items()}
        table[phase, Kind.GIVE_UP] = Phase.STOPPED
    # A run that is gone on with may find the bath cold and nothing left.
    for phase in (Phase.STIRRING, Phase.PAUSED, *WORKING):
        table[phase, Kind.NO_NEXT] = Phase.DONE
    # From a pause the phase of the step under way comes back by its NEXT row.
    # The first healthy sample starts the stirrer.
    table[Phase.WAITING, Kind.READY] = Phase.STIRRING
    table[Phase.WAITING, Kind.LIVE] = Phase.STIRRING
    return table


TRANSITIONS = _table()


def next_phase(phase: Phase, kind: Kind) -> Phase:
    """Return the phase that follows; raises BenchFaultError for a pair without a row."""
    try:
        return TRANSITIONS[phase, kind]
    except KeyError:
        raise BenchFaultError(
            f"sequencer: {kind.value!r} cannot happen while {phase.value!r}; stop the run"
        ) from None
