"""A batch summary's content as the strings its page shows."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any

from proofbath.certificate.batch import BatchRow, BatchSummary, Night
from proofbath.certificate.plot import overlay_view
from proofbath.certificate.result_view import result_view
from proofbath.certificate.results import Result
from proofbath.certificate.view import centre_in_words
from proofbath.certificate.words import NOTHING, day, fixed, plain, short_day
from proofbath.quantity.words import words_of


def batch_view(content: BatchSummary) -> dict[str, Any]:
    """Return what the page of a batch summary prints."""
    counts = Counter(row.outcome for row in content.row)
    stated = _stated(content.row)
    return {
        **content.model_dump(mode="json", exclude={"row", "nights"}),
        "issued": day(content.issued),
        "received": day(content.received),
        "counts": ", ".join(f"{count} {outcome}" for outcome, count in counts.items()),
        "row": [_row(row, stated) for row in content.row],
        "stated": stated,
        "ordered": _ordered(content),
        "nights": [_night(night) for night in content.nights],
        "plots": _plots(content.row),
    }


def _plots(rows: Sequence[BatchRow]) -> dict[str, Any] | None:
    """Return the curves as left on common axes, so that the small pictures can be compared."""
    shown = [row for row in rows if row.curve]
    if not shown:
        return None
    drawn = overlay_view([row.curve for row in shown], [row.as_left for row in shown])
    titles = [{"serial": row.serial, "outcome": row.outcome} for row in shown]
    return (drawn or {}) | {"titles": titles}


def _night(night: Night) -> dict[str, str]:
    known = night.centre_c is not None
    return {
        **night.model_dump(mode="json"),
        "date": short_day(night.date),
        "value": NOTHING if night.value_c is None else f"{fixed(night.value_c, 2)} °C",
        "centre": centre_in_words(night.centre_c or 0.0, night.limit_k) if known else NOTHING,
    }


def _stated(rows: Sequence[BatchRow]) -> str:
    """Return what most values of the table are."""
    values = [result for row in rows for result in (row.as_found, row.as_left) if result]
    most = Counter(result.words for result in values).most_common(1)
    return most[0][0] if most else words_of("start_to_open_c")


def _ordered(content: BatchSummary) -> list[str]:
    """Return what was ordered of the batch, and of single units of it."""
    own = [f"{row.serial}: {row.order}" for row in content.row if row.order]
    return [content.order, *own] if content.order else own


def _row(row: BatchRow, stated: str) -> dict[str, str]:
    withdrawn = f", withdrawn by {row.withdrawn_by}" if row.withdrawn_by else ""
    return {
        "serial": row.serial,
        "as_found": _value(row.as_found, stated),
        "rework": row.rework or NOTHING,
        "as_left": _value(row.as_left, stated),
        "outcome": row.outcome,
        "certificate": row.certificate + withdrawn if row.certificate else row.reason,
    }


def _value(result: Result | None, stated: str) -> str:
    if result is None:
        return NOTHING
    shown = result_view(result)
    value = f"{shown['value']} ± {shown['u']} {shown['unit']}" if shown["u"] else shown["value"]
    lift_mm = result.stated.threshold_mm
    apart = result.words != stated and lift_mm is not None
    return f"{value} ({plain(lift_mm or 0.0)} mm)" if apart else value
