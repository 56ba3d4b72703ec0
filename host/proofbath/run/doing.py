"""What the machine does, in one word for whoever looks at it."""

from __future__ import annotations

import math
from enum import Enum

from proofbath.run.states import Phase

NEAR_K = 0.3
"""A bath this near to where its step goes is held there."""


class Doing(Enum):
    """What the machine does just now."""

    WAITING = "waiting for the controller"
    STIRRING = "stirring before heat"
    HEATING = "heating"
    HOLDING = "holding"
    COOLING = "cooling"
    FEEDING = "feeding the elements"
    PAUSED = "paused"
    DONE = "done"
    STOPPED = "stopped"
    TRIPPED = "tripped"
    LOST = "lost"


_BY_PHASE = {
    Phase.WAITING: Doing.WAITING,
    Phase.STIRRING: Doing.STIRRING,
    Phase.HOLDING: Doing.HOLDING,
    Phase.CHECKING: Doing.FEEDING,
    Phase.ENERGISING: Doing.FEEDING,
    Phase.PAUSED: Doing.PAUSED,
    Phase.DONE: Doing.DONE,
    Phase.STOPPED: Doing.STOPPED,
    Phase.TRIPPED: Doing.TRIPPED,
    Phase.LOST: Doing.LOST,
}


def doing(phase: Phase, toward_c: float, bath_c: float) -> Doing:
    """Return what a run does in a phase whose step goes to `toward_c` (°C; NaN: nowhere).

    A bath that is not known is taken to be heated: that is the word to be careful by.
    """
    if phase in _BY_PHASE:
        return _BY_PHASE[phase]
    away_k = toward_c - bath_c
    if math.isnan(away_k) or away_k > NEAR_K:
        return Doing.HEATING
    return Doing.COOLING if away_k < -NEAR_K else Doing.HOLDING
