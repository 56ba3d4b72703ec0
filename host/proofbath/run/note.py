"""Notes: what a run says for the journal, so that analysis knows cycles and branches."""

from __future__ import annotations

from enum import Enum, StrEnum
from typing import NamedTuple

ELEMENTS = "elements"
"""Code of the note that holds all that is known of the elements, for a run that is gone on with."""


class Turn(StrEnum):
    """What a person did to the course of a run."""

    PAUSED = "paused"
    RESUMED = "resumed"


class Branch(Enum):
    """Which way the bath goes in a step."""

    RISING = "rising"
    FALLING = "falling"
    LEVEL = "level"


class FedBy(NamedTuple):
    """What is set for the elements, a value a station; a ramp of power sets no current."""

    set_a: tuple[float | None, ...] | None = None
    set_v: tuple[float, ...] | None = None


UNFED = FedBy()


class Note(NamedTuple):
    """One line of a run's story, stamped with the controller's clock."""

    t_s: float
    code: str
    """run_begin, step_begin, step_end, warning, alarm, late, cycle_spoiled, elements or run_end.

    An alarm is for a person to hear of at once; late says that the run takes too long."""
    text: str
    leg: int = -1
    """Index of the step; -1 belongs to no step."""
    cycle: int = 0
    purpose: str = ""
    branch: str = ""
    bath_c: float = float("nan")
    rate_k_per_min: float = float("nan")
    """True mean rate of the step that ends, signed."""
    turn: Turn | None = None
    """Set where the note says that the run was paused or went on."""
    station: int | None = None
    """Set where the note is of one station."""
    watch: str | None = None
    """Code under which the report of the unit there says it; None where it does not."""
    of_unit: str | None = None
    """How the report of the unit there says it."""
    set_a: tuple[float | None, ...] | None = None
    """Of a step that begins and feeds elements: the current set at each station; None at a
    station where its voltage is set or its power is ramped."""
    set_v: tuple[float, ...] | None = None
    """Of a step that begins and sets voltages: that of each station."""
