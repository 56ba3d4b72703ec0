"""Which parts of a run are whole passes through its cycles, from the events of its journal."""

from __future__ import annotations

import json
import math
from typing import NamedTuple

from proofbath.bench.notes import NOTE_CODES, note_in
from proofbath.store.journal import EventLine

BEGUN_AGAIN = "begun_again"
"""Kind of the event that says that a resumed run begins a cycle anew, with its number as text."""
RESUMED = "resumed"
"""Kind of the event that says where, and why there, a run was gone on with."""


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


class Off(NamedTuple):
    """A stretch in which a run did not work on its plan; `to_s` is inf where it was the last."""

    from_s: float
    """Controller's clock at the last sample that counts."""
    to_s: float


def stretches_off(events: list[EventLine]) -> list[Off]:
    """Return where a run stood still: behind its end, and up to the step a resumed one begins.

    What is recorded there, while the bath cools, belongs to no branch of any cycle.
    """
    found: list[Off] = []
    since_s = math.nan
    for event in events:
        note = note_in(event) if event.kind in NOTE_CODES else None
        if math.isnan(since_s) and note is not None and note.code == "run_end":
            since_s = note.t_s
        elif math.isnan(since_s) and event.kind == RESUMED:  # its process was killed
            since_s = event.t_s
        elif not math.isnan(since_s) and note is not None and note.code == "step_begin":
            found.append(Off(since_s, note.t_s))
            since_s = math.nan
    return found if math.isnan(since_s) else [*found, Off(since_s, math.inf)]


def _break_last(found: list[Pass], cycle: int) -> None:
    if found and found[-1].cycle == cycle:
        found[-1] = found[-1]._replace(whole=False)
