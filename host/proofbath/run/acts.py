"""What a person may ask of a run while it goes on."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Stop:
    """End the run now: everything is given back, the bath cools by itself."""

    reason: str = "stopped by the operator"
    by_signal: bool = False
    """Whether the process itself is asked to end."""


@dataclass(frozen=True, slots=True)
class Pause:
    """Keep the bath where it is until `Resume`; element currents are off meanwhile."""


@dataclass(frozen=True, slots=True)
class Resume:
    """Go on with the step that was paused."""


@dataclass(frozen=True, slots=True)
class Finish:
    """Leave out what is still to be recorded and go to the cool-down; without one, stop."""


@dataclass(frozen=True, slots=True)
class Leave:
    """Watch the bench no longer, whose run has ended; a run under way is none to leave."""


Act = Stop | Pause | Resume | Finish | Leave
