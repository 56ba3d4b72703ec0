"""The newest run of a bench, read from the journal as its chunks are committed."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, select

from proofbath.store.database import Database
from proofbath.store.journal import EventLine, RunHead
from proofbath.store.row import ROW, read_rows
from proofbath.store.tables import CHUNK, EVENT, RUN, Place, place_key


class RunState(NamedTuple):
    """A run as it stands in the journal."""

    run_id: int
    status: str
    reason: str


class News(NamedTuple):
    """What was committed after a chunk: rows of the journal's type, events in order."""

    number: int
    """Of the newest chunk; what was asked for when there is none."""
    rows: NDArray[Any]
    events: list[EventLine]


class Look(NamedTuple):
    """One look at a bench's journal."""

    run: RunState | None
    head: RunHead | None
    """Only of a run that was not followed before."""
    news: News


NOTHING = News(-1, np.empty(0, ROW), [])


class ChunkReader:
    """Reads only; a journal that is being written is read as of one moment."""

    def __init__(self, place: Place) -> None:
        self._database = Database(place)
        self.key = place_key(place)
        """Tells these records from others, as `Status` does."""

    def close(self) -> None:
        """Let go of the journal."""
        self._database.close()

    def look(self, bench: str, run_id: int | None, after: int) -> Look:
        """Return the newest run of a bench and what came after chunk `after` of run `run_id`.

        A newer run is given from its beginning.  Raises RecordError.
        """
        newest = (
            select(RUN.c.id, RUN.c.status, RUN.c.reason)
            .where(RUN.c.bench == bench)
            .order_by(RUN.c.id.desc())
            .limit(1)
        )
        with self._database.reading() as connection:
            row = connection.execute(newest).one_or_none()
            if row is None:
                return Look(None, None, NOTHING)
            run = RunState(row.id, row.status, row.reason)
            if run.run_id == run_id:
                return Look(run, None, _news(connection, run.run_id, after))
            return Look(run, self._head(connection, run.run_id), _news(connection, run.run_id, -1))

    def _head(self, connection: Connection, run_id: int) -> RunHead:
        row = connection.execute(select(RUN).where(RUN.c.id == run_id)).one()
        return RunHead(*(getattr(row, name) for name in RunHead._fields))


def _news(connection: Connection, run_id: int, after: int) -> News:
    chunks = connection.execute(
        select(CHUNK.c.number, CHUNK.c.rows)
        .where(CHUNK.c.run_id == run_id, CHUNK.c.number > after)
        .order_by(CHUNK.c.number)
    ).all()
    if not chunks:
        return News(after, NOTHING.rows, [])
    events = connection.execute(
        select(EVENT.c.t_s, EVENT.c.kind, EVENT.c.text)
        .where(EVENT.c.run_id == run_id, EVENT.c.chunk_number > after)
        .order_by(EVENT.c.id)
    )
    layout = select(RUN.c.row_text).where(RUN.c.id == run_id)
    row_text = connection.execute(layout).scalar_one()
    rows = read_rows(b"".join(chunk.rows for chunk in chunks), row_text)
    return News(chunks[-1].number, rows, [EventLine(*event) for event in events])
