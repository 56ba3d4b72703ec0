"""Numbers of documents, PREFIX-YEAR-NNNN: one series for all of them, by what is on record."""

from __future__ import annotations

from collections.abc import Iterable

from proofbath.store.kinds import Certificate, Document
from proofbath.store.records import RecordsReader, Writer
from proofbath.workshop.documents import earlier_documents


def digests_on_record(records: RecordsReader) -> dict[str, str]:
    """Return the digest of every document on record by its number."""
    found = {kept.entry.number: kept.entry.sha256 for kept in records.current(Certificate)}
    found |= {entry.number: entry.sha256 for entry in earlier_documents(records)}
    return found | {kept.entry.number: kept.entry.sha256 for kept in records.current(Document)}


def on_record(writer: Writer, number: str) -> bool:
    """Whether a number is a document's already."""
    if writer.current(Certificate, number=number):
        return True
    if writer.current(Document, number=number):
        return True
    return any(entry.number == number for entry in earlier_documents(writer))


def number_of(prefix: str, year: int, count: int) -> str:
    """Return the number of a year's document."""
    return f"{prefix}-{year}-{count:04}"


def first_free(numbers: Iterable[str], prefix: str, year: int) -> int:
    """Return the count after the greatest of a year."""
    start = number_of(prefix, year, 0)[:-4]
    used = (n.removeprefix(start) for n in numbers if n.startswith(start))
    return max((int(tail) for tail in used if tail.isdecimal()), default=0) + 1
