"""The workshop's records: added, corrected by later rows, never changed; all in one chain."""

from __future__ import annotations

import datetime as dt
from abc import abstractmethod
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Generic, NamedTuple, Protocol, TypeVar

from sqlalchemy import Connection, Row, func, insert, select

from proofbath.errors import InputError, RecordError
from proofbath.store.chain import Link, Verified, append_link, last_link, verify_links
from proofbath.store.database import Database
from proofbath.store.kinds import Kind, Person
from proofbath.store.migrate import migrate
from proofbath.store.schema import LINK, TABLES, from_row, to_row
from proofbath.store.tables import Place

K = TypeVar("K", bound=Kind)


class Kept(NamedTuple, Generic[K]):
    """An entry as it stands on record.

    `id` is its row's, `root` that of the first row of its history: records refer to that one.
    """

    id: int
    root: int
    at: str
    by: int | None
    reason: str
    entry: K


class Stamp(NamedTuple):
    """When (UTC, ISO 8601) and by whom (a person's number, None for the program itself)."""

    at: str
    by: int | None = None

    @property
    def day(self) -> dt.date:
        """The day of it, UTC."""
        return dt.date.fromisoformat(self.at[:10])


class RecordsReader(Protocol):
    """What reads records: the records themselves, or a snapshot of them.

    Whoever derives from it without answering all of it cannot be made.
    """

    name: str
    place: Place

    @abstractmethod
    def current(self, kind: type[K], **equal: Any) -> list[Kept[K]]:
        """Return the entries of a kind as last corrected whose fields are `equal`, oldest first."""

    @abstractmethod
    def history(self, kind: type[K], root: int) -> list[Kept[K]]:
        """Return an entry and its corrections in order; raises RecordError when there is none."""

    @abstractmethod
    def places(self, *kinds: type[Kind]) -> dict[tuple[type[Kind], int], int]:
        """Return where in the chain each row of some kinds stands, whatever a clock said."""

    @abstractmethod
    def one(self, kind: type[K], root: int) -> Kept[K]:
        """Return an entry as last corrected; raises RecordError when there is none."""

    @abstractmethod
    def head(self) -> Link:
        """Return the chain's last link; kept elsewhere, it shows whether the end was cut off."""

    def find(self, kind: type[K], **equal: Any) -> Kept[K]:
        """Return the one entry whose fields are `equal`; raises InputError when there is none."""
        found = self.current(kind, **equal)
        if not found:
            words = ", ".join(f"{name} {value!r}" for name, value in equal.items())
            what = kind.table.replace("_", " ")
            added = f" ({kind.put_by})" if kind.put_by else ""
            raise InputError(
                f"{self.name}: has no {what} of {words}; check the spelling, or put it on record"
                f" first{added}"
            )
        return found[0]


class Records(RecordsReader):
    """The records at a place, beside its journal; raises RecordError where it cannot be used."""

    def __init__(self, place: Place) -> None:
        self._database = Database(place)
        migrate(self._database)
        self.name = self._database.name
        self.place = place

    def close(self) -> None:
        """Let go of the place."""
        self._database.close()

    @contextmanager
    def writing(self, stamp: Stamp) -> Iterator[Writer]:
        """Yield what adds entries; all of them are on record afterwards, or none."""
        with self._database.writing(LINK.name) as connection:
            yield Writer(connection, stamp)

    def add(self, entry: Kind, stamp: Stamp) -> int:
        """Put one entry on record and return its number; raises InputError when refused."""
        with self.writing(stamp) as writer:
            return writer.add(entry)

    def correct(self, root: int, entry: Kind, reason: str, stamp: Stamp) -> int:
        """Put a correction of an entry on record; the earlier rows stay."""
        with self.writing(stamp) as writer:
            return writer.correct(root, entry, reason)

    def current(self, kind: type[K], **equal: Any) -> list[Kept[K]]:
        """Return the entries of a kind as last corrected whose fields are `equal`, oldest first."""
        with self._database.reading() as connection:
            return _current(connection, kind, equal)

    def history(self, kind: type[K], root: int) -> list[Kept[K]]:
        """Return an entry and its corrections in order; raises RecordError when there is none."""
        table = TABLES[kind]
        mine = (table.c.id == root) | (table.c.corrects == root)
        with self._database.reading() as connection:
            rows = connection.execute(select(table).where(mine).order_by(table.c.id)).all()
        if not rows or rows[0].corrects is not None:
            raise RecordError(f"{self.name}: there is no {kind.table} {root}")
        return [_kept(kind, row) for row in rows]

    def places(self, *kinds: type[Kind]) -> dict[tuple[type[Kind], int], int]:
        """Return where in the chain each row of some kinds stands, whatever a clock said."""
        named = {kind.table: kind for kind in kinds}
        query = select(LINK).where(LINK.c.kind.in_(named))
        with self._database.reading() as connection:
            links = connection.execute(query).all()
        return {(named[link.kind], link.row_id): link.number for link in links}

    def one(self, kind: type[K], root: int) -> Kept[K]:
        """Return an entry as last corrected; raises RecordError when there is none."""
        return self.history(kind, root)[-1]

    def head(self) -> Link:
        """Return the chain's last link; kept elsewhere, it shows whether the end was cut off."""
        with self._database.reading() as connection:
            return last_link(connection)

    def verify(self, known: Link | None = None) -> Verified:
        """Check every row against the chain, and the chain against a `known` link of it.

        Raises RecordError naming the first row that was changed, lost or slipped in.
        """
        with self._database.reading() as connection:
            return verify_links(connection, self.name, known)


class Writer:
    """Adds entries within one transaction, in which nobody else writes."""

    def __init__(self, connection: Connection, stamp: Stamp) -> None:
        self._connection = connection
        self._stamp = stamp

    def add(self, entry: Kind) -> int:
        """Put an entry on record and return its number; raises InputError when refused."""
        return self._put(entry, None, None)

    def correct(self, root: int, entry: Kind, reason: str) -> int:
        """Put a correction on record and return its row's number; needs a reason."""
        kind = type(entry).table
        if not reason.strip():
            raise InputError(f"{kind} {root}: a correction needs its reason")
        self._check_root(kind, root)
        return self._put(entry, root, reason)

    def current(self, kind: type[K], **equal: Any) -> list[Kept[K]]:
        """Return entries as `Records.current`, those of this transaction among them."""
        return _current(self._connection, kind, equal)

    def _put(self, entry: Kind, corrects: int | None, reason: str | None) -> int:
        kind, table = type(entry), TABLES[type(entry)]
        self._check_right(entry)
        self._check_unique(entry, corrects)
        for column in table.foreign_keys:
            target, value = column.column.table.name, getattr(entry, column.parent.name, None)
            if value is not None and target != "run":
                self._check_root(target, value)
        row = {
            "at": self._stamp.at,
            "by_id": self._stamp.by,
            "corrects": corrects,
            "reason": reason,
            **to_row(entry),
        }
        for name, value in row.items():
            if isinstance(value, str) and "\0" in value:
                raise InputError(f"{kind.table}: {name} holds a NUL sign")
        key = self._connection.execute(insert(table).values(row)).inserted_primary_key
        assert key is not None
        append_link(self._connection, kind.table, {**row, "id": int(key[0])})
        return int(key[0])

    def _check_right(self, entry: Kind) -> None:
        needed, by = type(entry).rights_to_write, self._stamp.by
        words = " or ".join(needed)
        if by is None:
            first = isinstance(entry, Person) and not self.current(Person)
            if first and isinstance(entry, Person) and not {*needed} & {*entry.rights}:
                raise InputError(f"the first person on record must be {words}")
            if needed and not first:
                raise InputError(f"{type(entry).table}: say who; it needs the right {words}")
            return
        person = next((p.entry for p in self.current(Person) if p.root == by), None)
        if person is None:
            raise InputError(f"there is no person {by}")
        if not person.active or (needed and not {*needed} & {*person.rights}):
            raise InputError(f"{person.name} has not the right {words or 'to write'}")

    def _check_unique(self, entry: Kind, corrects: int | None) -> None:
        unique = type(entry).unique
        same = {name: getattr(entry, name) for name in unique}
        if any(kept.root != corrects for kept in self.current(type(entry), **same) if unique):
            words = ", ".join(f"{name} {value}" for name, value in same.items())
            raise InputError(f"{type(entry).table}: {words} is on record already; take another")

    def _check_root(self, table_name: str, root: int) -> None:
        table = next(t for t in TABLES.values() if t.name == table_name)
        row = self._connection.execute(select(table.c.corrects).where(table.c.id == root)).first()
        if row is None:
            raise InputError(f"there is no {table_name} {root}")
        if row.corrects is not None:
            raise InputError(f"{table_name} {root} is a correction; name {row.corrects}")


def _current(connection: Connection, kind: type[K], equal: dict[str, Any]) -> list[Kept[K]]:
    table = TABLES[kind]
    root = func.coalesce(table.c.corrects, table.c.id)
    newest = select(func.max(table.c.id)).group_by(root)
    query = select(table).where(table.c.id.in_(newest)).order_by(root)
    for name, value in equal.items():
        query = query.where(table.c[name] == value)
    return [_kept(kind, row) for row in connection.execute(query)]


def _kept(kind: type[K], row: Row[Any]) -> Kept[K]:
    entry = from_row(kind, dict(row._mapping))
    assert isinstance(entry, kind)
    return Kept(row.id, row.corrects or row.id, row.at, row.by_id, row.reason or "", entry)
