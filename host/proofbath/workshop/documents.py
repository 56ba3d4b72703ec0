"""Documents on record that are no certificates: summaries, comparisons, withdrawals."""

from __future__ import annotations

from proofbath.store.kinds import Action
from proofbath.store.records import RecordsReader
from proofbath.workshop.numbers import ISSUED


def documents_called(records: RecordsReader, title: str) -> list[str]:
    """Return the numbers of the documents issued under a title, the newest first."""
    return [
        kept.entry.what.removeprefix(ISSUED)
        for kept in reversed(records.current(Action))
        if kept.entry.what.startswith(ISSUED) and kept.entry.detail.partition(" ")[2] == title
    ]
