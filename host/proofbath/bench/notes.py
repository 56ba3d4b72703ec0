"""The sequencer's notes as events of the journal, and back: where cycles and branches lie."""

from __future__ import annotations

import json
import math
from typing import Any, NamedTuple

from proofbath.run.note import ELEMENTS, Note, Turn
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


_OLD_TURNS = {"paused by": Turn.PAUSED, "resumed after": Turn.RESUMED}
"""How the warnings began that said so before a note had its `turn`."""


def note_text(note: Note) -> str:
    """Return a note as JSON; what is not known is left out."""
    known = {key: value for key, value in note._asdict().items() if not _unknown(value)}
    return json.dumps(known, ensure_ascii=False)


class PlanStep(NamedTuple):
    """A step of the plan that has ended, by its number there, with the note of its end."""

    number: int
    end: Note


def plan_steps_in(notes: list[Note]) -> list[PlanStep]:
    """Return the ends of the plan's own steps; checks that a run puts between them do not count."""
    checks = {note.leg for note in notes if note.purpose == "check"}
    ends = [note for note in notes if note.code == "step_end" and note.leg not in checks]
    return [PlanStep(n.leg - sum(leg < n.leg for leg in checks), n) for n in ends]


def notes_in(events: list[EventLine]) -> list[Note]:
    """Return the sequencer's notes among the events of a run, in order."""
    return [note_in(event) for event in events if event.kind in NOTE_CODES]


def note_in(event: EventLine) -> Note:
    """Return the note in an event whose kind is one of `NOTE_CODES`."""
    known = json.loads(event.text)
    turn = Turn(known.pop("turn")) if "turn" in known else _old_turn(event.kind, known)
    fed = {key: tuple(known.pop(key)) for key in ("set_a", "set_v") if key in known}
    return Note(**{"t_s": math.nan, **known, **fed, "turn": turn})


def _old_turn(kind: str, known: dict[str, Any]) -> Turn | None:
    """Return the turn that a note of an old journal says in words alone."""
    if kind != "warning":
        return None
    text = known["text"]
    return next((turn for words, turn in _OLD_TURNS.items() if text.startswith(words)), None)


def _unknown(value: object) -> bool:
    return value is None or (isinstance(value, float) and math.isnan(value))
