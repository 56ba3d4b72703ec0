"""The sequencer's notes as events of the journal, and back: where cycles and branches lie."""

from __future__ import annotations

import json
import math

from proofbath.run.note import ELEMENTS, Note
from proofbath.store.journal import EventLine

NOTE_CODES = frozenset(
    {
        "run_begin",
        "step_begin",
        "step_end",
        "warning",
        "alarm",
        "late",
        "cycle_spoiled",
        ELEMENTS,
        "run_end",
    }
)


def note_text(note: Note) -> str:
    """Return a note as JSON; a number that is not known is left out."""
    known = {key: value for key, value in note._asdict().items() if not _unknown(value)}
    return json.dumps(known, ensure_ascii=False)


def notes_in(events: list[EventLine]) -> list[Note]:
    """Return the sequencer's notes among the events of a run, in order."""
    return [note_in(event) for event in events if event.kind in NOTE_CODES]


def note_in(event: EventLine) -> Note:
    """Return the note in an event whose kind is one of `NOTE_CODES`."""
    return Note(**{"t_s": math.nan, **json.loads(event.text)})


def _unknown(value: object) -> bool:
    return isinstance(value, float) and math.isnan(value)
