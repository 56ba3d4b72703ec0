"""Numbers of documents, PREFIX-YEAR-NNNN: one series for all of them, by what is on record."""

from __future__ import annotations

from collections.abc import Iterable

from proofbath.store.kinds import Action, Certificate
from proofbath.store.records import RecordsReader, Writer

ISSUED = "issued "


def issued_action(number: str, sha256: str, title: str) -> Action:
    """Return the record of a document that is no certificate."""
    return Action(what=f"{ISSUED}{number}", detail=f"{sha256} {title}")


def digests_on_record(records: RecordsReader) -> dict[str, str]:
    """Return the digest of every document on record by its number."""
    found = {kept.entry.number: kept.entry.sha256 for kept in records.current(Certificate)}
    for kept in records.current(Action):
        if kept.entry.what.startswith(ISSUED):
            found[kept.entry.what.removeprefix(ISSUED)] = kept.entry.detail.partition(" ")[0]
    return found


def on_record(writer: Writer, number: str) -> bool:
    """Whether a number is a document's already."""
    actions = writer.current(Action, what=f"{ISSUED}{number}")
    return bool(actions or writer.current(Certificate, number=number))


def number_of(prefix: str, year: int, count: int) -> str:
    """Return the number of a year's document."""
    return f"{prefix}-{year}-{count:04}"


def first_free(numbers: Iterable[str], prefix: str, year: int) -> int:
    """Return the count after the greatest of a year."""
    start = number_of(prefix, year, 0)[:-4]
    used = (n.removeprefix(start) for n in numbers if n.startswith(start))
    return max((int(tail) for tail in used if tail.isdecimal()), default=0) + 1
