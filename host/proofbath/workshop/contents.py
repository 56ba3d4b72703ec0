"""The content of a result on record, read into quantities."""

from __future__ import annotations

from proofbath.curve.content import ResultContent
from proofbath.store.kinds import Result
from proofbath.store.records import Kept


def content_of(result: Kept[Result]) -> ResultContent:
    """Return what a result on record says; raises RecordError where a quantity is broken."""
    return ResultContent.from_json(result.entry.content)
