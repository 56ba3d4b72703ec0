"""Which parts of a run are whole passes through its cycles, from the events of its journal."""

from __future__ import annotations

import json
import math
from typing import NamedTuple

from proofbath.bench.notes import NOTE_CODES, note_in
from proofbath.store.journal import EventLine

BEGUN_AGAIN = "begun_again"
"""Kind of the event that says that a resumed run begins a cycle anew, with its number as text."""


class Pass(NamedTuple):
    """One way through a cycle, up to the next; a cool-down belongs to the cycle before it."""

    cycle: int
    recorded: bool
    from_s: float
    to_s: float
    """Controller's clock; inf for the last pass."""
    whole: bool
    """False where its branch was left: by a resumed run that began it again, or unrepaired."""


def passes_in(events: list[EventLine]) -> list[Pass]:
    """Return the passes of a run in order, broken ones included."""
    found: list[Pass] = []
    again = False
    for event in events:
        if event.kind == BEGUN_AGAIN:
            again = True
            _break_last(found, json.loads(event.text))
        if event.kind not in NOTE_CODES:
            continue
        note = note_in(event)
        if note.code == "cycle_spoiled":
            _break_last(found, note.cycle)
        if note.code != "step_begin" or note.purpose == "cool-down":
            continue
        if again or not found or found[-1].cycle != note.cycle:
            if found:
                found[-1] = found[-1]._replace(to_s=note.t_s)
            recorded = note.purpose == "recorded"
            found.append(Pass(note.cycle, recorded, note.t_s, math.inf, True))
            again = False
    return found


def _break_last(found: list[Pass], cycle: int) -> None:
    if found and found[-1].cycle == cycle:
        found[-1] = found[-1]._replace(whole=False)
