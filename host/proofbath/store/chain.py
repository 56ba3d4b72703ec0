"""The chain over all records: each link is a digest over the one before and one row.

Columns without a value are left out of a row's text, so that a column added later changes nothing.
A cut at the chain's end is seen only against a link kept elsewhere: a backup's, a certificate's.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from typing import Any, NamedTuple

from sqlalchemy import Connection, insert, select

from proofbath.errors import RecordError
from proofbath.store.schema import LINK, TABLES, canonical


class Link(NamedTuple):
    """A link by its number (0 before the first) and its SHA-256 in hex."""

    number: int
    digest: str


class Verified(NamedTuple):
    """How much was checked, and the chain's last link."""

    records: int
    head: Link


START = Link(0, "0" * 64)


def digest_of(before: Link, kind: str, row: Mapping[str, Any]) -> str:
    """Return the digest of the link after `before` over a row of the table `kind`."""
    known = {name: value for name, value in row.items() if value is not None}
    text = canonical([before.digest, before.number + 1, kind, known])
    return hashlib.sha256(text.encode()).hexdigest()


def last_link(connection: Connection) -> Link:
    """Return the last link."""
    query = select(LINK.c.number, LINK.c.digest).order_by(LINK.c.number.desc()).limit(1)
    row = connection.execute(query).first()
    return START if row is None else Link(row.number, row.digest)


def append_link(connection: Connection, kind: str, row: Mapping[str, Any]) -> Link:
    """Add the link of a row that was just written."""
    before = last_link(connection)
    link = Link(before.number + 1, digest_of(before, kind, row))
    connection.execute(insert(LINK).values(kind=kind, row_id=row["id"], **link._asdict()))
    return link


def verify_links(connection: Connection, name: str, known: Link | None) -> Verified:
    """Check all rows and links; raises RecordError at the first that does not fit."""
    rows = {
        (table.name, row.id): dict(row._mapping)
        for table in TABLES.values()
        for row in connection.execute(select(table))
    }
    before, seen = START, known is None or known == START
    for link in connection.execute(select(LINK).order_by(LINK.c.number)):
        what = f"{link.kind} {link.row_id}"
        row = rows.pop((link.kind, link.row_id), None)
        if row is None:
            raise RecordError(f"records {name}: {what} is lost; use a backup")
        if (link.number, link.digest) != (before.number + 1, digest_of(before, link.kind, row)):
            raise RecordError(f"records {name}: {what} or its link was changed; use a backup")
        before = Link(link.number, link.digest)
        seen = seen or before == known
    if rows:
        kind, row_id = min(rows)
        raise RecordError(f"records {name}: {kind} {row_id} has no link: it was slipped in")
    if not seen:
        assert known is not None
        raise RecordError(
            f"records {name}: link {known.number} is not the one known; the end was cut off or"
            " written anew; use a backup"
        )
    return Verified(before.number, before)
