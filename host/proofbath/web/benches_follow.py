"""What is committed, as it comes: new raw rows and events of every bench's runs.

Reading by run and chunk loses nothing however many processes write: a run has one writer, so
its chunks appear in order, while numbers of runs and events of several benches need not.
"""

from __future__ import annotations

import json
from copy import copy
from typing import Any, NamedTuple

from numpy.typing import NDArray
from sqlalchemy import Connection, Row, func, or_, select

from proofbath.store.database import Database
from proofbath.store.journal import OPEN, EventLine, RunHead
from proofbath.store.row import read_rows
from proofbath.store.tables import CHUNK, EVENT, JOURNAL_TABLES, METADATA, RUN, Place

LOOK_BACK = 200
"""Runs before the newest that are watched though closed: one may be resumed."""
LOOKS_AFTER = 200
"""How many looks a run is watched closely after it was closed."""
CHUNKS_AT_ONCE = 300
"""Most chunks of a run read at once; the rest waits for the next look."""


class Told(NamedTuple):
    """An event by its place in the journal."""

    chunk: int
    place: int
    event: EventLine


class News(NamedTuple):
    """What is new of one run: how it stands, its raw rows, its events."""

    run_id: int
    head: RunHead
    status: str
    reason: str
    rows: NDArray[Any]
    events: tuple[Told, ...]
    first_s: float | None
    """The controller's clock at the run's first sample; None before it."""
    past: bool
    """Whether it had ended before it was followed: its rows only show how it stands."""


class Follower:
    """Reads what was committed since the last look; not for two threads at once."""

    def __init__(self, place: Place, positions: dict[int, int] | None = None) -> None:
        """Follow from now on; events go on where `positions` (run -> next chunk) left them."""
        self._database = Database(place)
        METADATA.create_all(self._database.engine, JOURNAL_TABLES)
        self._positions = dict(positions or {})
        self._next: dict[int, int] | None = None
        self._status: dict[int, str] = {}
        self._heads: dict[int, RunHead] = {}
        self._layouts: dict[int, str] = {}
        self._firsts: dict[int, float] = {}
        self._again: dict[int, int] = {}

    def close(self) -> None:
        """Let go of the database."""
        self._database.close()

    def look(self) -> list[News]:
        """Return what is new, oldest runs first; raises RecordError where nothing can be read.

        The first look tells of each bench's newest run and of all that are open.  After a look
        that failed the next one tells what it would have told.
        """
        before = copy(self._next), copy(self._status), copy(self._positions), copy(self._again)
        try:
            with self._database.reading() as connection:
                rows = self._watched(connection)
                first = self._next is None
                if first:
                    self._begin(connection, rows)
                newest = {row.bench: row.id for row in rows}
                changed = [r for r in rows if self._changed(r, newest[r.bench] == r.id)]
                news = [
                    self._news(connection, row, first and row.status != OPEN) for row in changed
                ]
        except BaseException:
            self._next, self._status, self._positions, self._again = before
            raise
        self._forget()
        return [found for found in news if found is not None]

    def ends(self) -> dict[int, int]:
        """Return the next chunk of each run that was looked at."""
        return dict(self._next or {})

    def _begin(self, connection: Connection, rows: list[Row[Any]]) -> None:
        """Say where following begins: with the newest chunk of what is of interest.

        That is what is open, each bench's newest run, and what has events to tell: what began
        after everything told before is told whole, nothing of runs that had ended before.
        """
        newest, last_told = {row.bench: row.id for row in rows}, max(self._positions, default=None)
        self._next = {}
        for row in rows:
            query = select(func.max(CHUNK.c.number)).where(CHUNK.c.run_id == row.id)
            last = connection.execute(query).scalar()
            self._next[row.id] = last or 0
            if last_told is not None and row.id > last_told:
                self._positions[row.id] = 0
            elif row.status != OPEN and row.id not in self._positions:
                self._positions[row.id] = self._next[row.id] + 1
                if newest[row.bench] != row.id:  # done with
                    self._status[row.id] = row.status
                    self._next[row.id] = 0 if last is None else last + 1

    def _watched(self, connection: Connection) -> list[Row[Any]]:
        """Only the first look goes through the whole table, its long texts and all."""
        newest = select(func.max(RUN.c.id))
        wanted = RUN.c.id > newest.scalar_subquery() - LOOK_BACK
        if self._next is None:
            wanted = or_(wanted, RUN.c.status == OPEN, RUN.c.id.in_(newest.group_by(RUN.c.bench)))
            wanted = or_(wanted, RUN.c.id.in_(self._positions))
        else:
            mine = [run_id for run_id, status in self._status.items() if status == OPEN]
            wanted = or_(wanted, RUN.c.id.in_(mine))
        query = select(RUN.c.id, RUN.c.bench, RUN.c.status, RUN.c.reason)
        return list(connection.execute(query.where(wanted).order_by(RUN.c.id)))

    def _changed(self, row: Row[Any], newest: bool) -> bool:
        """A run just closed may be opened for a last word and closed again between two looks.

        Behind a bench's newest run the bench may still be watched until it is cool.
        """
        if newest or row.status == OPEN or self._status.get(row.id) != row.status:
            self._again[row.id] = LOOKS_AFTER
            return True
        self._again[row.id] = self._again.get(row.id, 0) - 1
        return self._again[row.id] > 0

    def _news(self, connection: Connection, row: Row[Any], past: bool) -> News | None:
        assert self._next is not None
        before, first = self._status.get(row.id), self._next.get(row.id, 0)
        query = select(CHUNK.c.number, CHUNK.c.rows).where(CHUNK.c.run_id == row.id)
        query = query.where(CHUNK.c.number >= first).order_by(CHUNK.c.number)
        chunks = connection.execute(query.limit(CHUNKS_AT_ONCE)).all()
        whole = len(chunks) < CHUNKS_AT_ONCE
        self._next[row.id] = chunks[-1].number + 1 if chunks else first
        self._status[row.id] = row.status if whole else OPEN
        head = self._head(connection, row.id)
        if not chunks and before == row.status:
            return None
        return News(
            row.id,
            head,
            self._status[row.id],
            row.reason,
            read_rows(b"".join(chunk.rows for chunk in chunks), self._layouts[row.id]),
            _events(connection, row.id, self._positions.pop(row.id, first), self._next[row.id]),
            self._first_s(connection, row.id),
            past,
        )

    def _head(self, connection: Connection, run_id: int) -> RunHead:
        if run_id not in self._heads:
            row = connection.execute(select(RUN).where(RUN.c.id == run_id)).one()
            head = RunHead(*(getattr(row, name) for name in RunHead._fields))
            self._heads[run_id], self._layouts[run_id] = head, row.row_text
        return self._heads[run_id]

    def _first_s(self, connection: Connection, run_id: int) -> float | None:
        if run_id not in self._firsts:
            query = select(CHUNK.c.rows).where(CHUNK.c.run_id == run_id)
            query = query.where(func.length(CHUNK.c.rows) > 0).order_by(CHUNK.c.number)
            rows = connection.execute(query.limit(1)).scalar()
            if rows is None:
                return None
            first = read_rows(rows, self._layouts[run_id])["device_ms"]
            self._firsts[run_id] = float(first[0]) / 1000
        return self._firsts[run_id]

    def _forget(self) -> None:
        """Keep what is known of the runs that are watched, nothing of older ones."""
        assert self._next is not None
        for run_id in sorted(self._status)[: -2 * LOOK_BACK]:
            if self._status[run_id] != OPEN:
                del self._status[run_id]
                self._next.pop(run_id, None)
                self._heads.pop(run_id, None)
                self._layouts.pop(run_id, None)
                self._firsts.pop(run_id, None)
                self._again.pop(run_id, None)


def _events(connection: Connection, run_id: int, first: int, end: int) -> tuple[Told, ...]:
    query = select(EVENT).where(EVENT.c.run_id == run_id).order_by(EVENT.c.id)
    query = query.where(EVENT.c.chunk_number >= first, EVENT.c.chunk_number < end)
    found: list[Told] = []
    for row in connection.execute(query):
        again = bool(found) and found[-1].chunk == row.chunk_number
        place = found[-1].place + 1 if again else 0
        found.append(Told(row.chunk_number, place, EventLine(row.t_s, row.kind, row.text)))
    return tuple(found)


def batch_and_stage(head: RunHead) -> tuple[str | None, str | None]:
    """Return the batch and stage of a run's plan; None for a run that is no night."""
    try:
        plan = json.loads(head.plan_text)
    except ValueError:
        return None, None
    return plan.get("batch"), plan.get("stage")
