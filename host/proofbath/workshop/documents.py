"""Documents on record that are no certificates: summaries, comparisons, withdrawals."""

from __future__ import annotations

import re

from proofbath.store.kinds import Action, Document, Sort
from proofbath.store.records import RecordsReader, Writer

_NUMBER = re.compile(r"issued (\S+)")
_EARLIER: dict[Sort, re.Pattern[str]] = {
    "summary": re.compile(r"(\w+) summary of (.+)"),
    "then-and-now": re.compile(r"(\w+) then and now of (.+)"),
    "withdrawal": re.compile(r"(\w+) withdrawal of (.+)"),
}
"""How an action's text held digest, sort and subject before documents had records of their own."""


def documents_of(records: RecordsReader, sort: Sort, about: str) -> list[str]:
    """Return the numbers of the documents of a sort about something, the newest first."""
    now = [kept.entry for kept in records.current(Document, sort=sort, about=about)]
    every = [*earlier_documents(records), *now]
    return [d.number for d in reversed(every) if (d.sort, d.about) == (sort, about)]


def earlier_documents(records: RecordsReader | Writer) -> list[Document]:
    """Return the documents that an earlier version put on record as actions, in order."""
    found = []
    for kept in records.current(Action):
        number = _NUMBER.fullmatch(kept.entry.what)
        for sort, form in _EARLIER.items() if number else ():
            held = form.fullmatch(kept.entry.detail)
            if number and held:
                sha256, about = held.groups()
                found.append(Document(number=number[1], sha256=sha256, sort=sort, about=about))
    return found
