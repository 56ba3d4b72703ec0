"""A batch summary's content as the strings its page shows."""

from __future__ import annotations

from collections import Counter
from typing import Any

from proofbath.certificate.batch import BatchRow, BatchSummary
from proofbath.certificate.result_view import result_view
from proofbath.certificate.results import Result
from proofbath.certificate.view import reference_view
from proofbath.certificate.words import NOTHING, day


def batch_view(content: BatchSummary) -> dict[str, Any]:
    """Return what the page of a batch summary prints."""
    counts = Counter(row.outcome for row in content.row)
    return {
        **content.model_dump(mode="json"),
        "issued": day(content.issued),
        "received": day(content.received),
        "counts": ", ".join(f"{count} {outcome}" for outcome, count in counts.items()),
        "row": [_row(row) for row in content.row],
        "reference": reference_view(content.reference_unit),
    }


def _row(row: BatchRow) -> dict[str, str]:
    withdrawn = f", withdrawn by {row.withdrawn_by}" if row.withdrawn_by else ""
    return {
        "serial": row.serial,
        "as_found": _value(row.as_found),
        "rework": row.rework or NOTHING,
        "as_left": _value(row.as_left),
        "outcome": row.outcome,
        "certificate": row.certificate + withdrawn if row.certificate else row.reason,
    }


def _value(result: Result | None) -> str:
    if result is None:
        return NOTHING
    shown = result_view(result)
    return f"{shown['value']} ± {shown['u']} {shown['unit']}" if shown["u"] else shown["value"]
