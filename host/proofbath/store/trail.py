"""What was put on record, by whom and when, over all kinds, the newest first."""

from __future__ import annotations

from typing import NamedTuple

from sqlalchemy import select

from proofbath.store.kinds import Action, Kind
from proofbath.store.records import Records
from proofbath.store.schema import LINK, TABLES, from_row

_LONGEST = 300


class Trace(NamedTuple):
    """One row on record: its number in the chain, its kind, and what it says in words."""

    number: int
    kind: str
    at: str
    by: int | None
    words: str
    reason: str


def trail(records: Records, most: int, before: int | None = None) -> list[Trace]:
    """Return the newest rows on record, at `most` so many, those `before` a number."""
    query = select(LINK).order_by(LINK.c.number.desc()).limit(most)
    if before is not None:
        query = query.where(LINK.c.number < before)
    kinds = {kind.table: kind for kind in TABLES}
    found = []
    with records._database.reading() as connection:
        for link in connection.execute(query).all():
            kind, table = kinds[link.kind], TABLES[kinds[link.kind]]
            row = connection.execute(select(table).where(table.c.id == link.row_id)).one()
            words = _words(from_row(kind, dict(row._mapping)))
            name = link.kind.replace("_", " ")
            found.append(Trace(link.number, name, row.at, row.by_id, words, row.reason or ""))
    return found


def _words(entry: Kind) -> str:
    if isinstance(entry, Action):
        return f"{entry.what}: {entry.detail}" if entry.detail else entry.what
    told = ", ".join(
        f"{name.removesuffix('_id').replace('_', ' ')} {_plain(value)}"
        for name, value in entry.model_dump(mode="json").items()
        if value not in (None, "", [], {}) and not isinstance(value, dict)
    )
    return told if len(told) <= _LONGEST else f"{told[:_LONGEST]}…"


def _plain(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return "/".join(str(part) for part in value)
    return str(value)
