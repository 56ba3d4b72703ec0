"""What was put on record and by whom, the newest first, for administrators to read."""

from __future__ import annotations

from proofbath.description import Described
from proofbath.store.kinds import Person
from proofbath.store.records import Records
from proofbath.store.trail import trail


class Traced(Described):
    """One row on record; `by` is missing where the program wrote it."""

    number: int
    kind: str
    at: str
    by: str | None
    words: str
    reason: str


def traced(records: Records, most: int, before: int | None = None) -> list[Traced]:
    """Return at most so many of the newest rows on record, those `before` a number."""
    names = {person.root: person.entry.name for person in records.current(Person)}
    return [
        Traced.model_validate(trace._asdict() | {"by": trace.by and names.get(trace.by)})
        for trace in trail(records, most, before)
    ]
