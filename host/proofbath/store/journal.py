"""The journal of a bench: runs, their raw samples in chunks, and what happened beside them.

Each chunk carries a SHA-256 over the digest before it and its own rows and events; the first
link is over the run's own texts.  A changed, lost or inserted chunk or event breaks the chain.
What is recorded behind a run's end, while its bath cools, is chained too but not part of the run.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NamedTuple

from numpy.typing import NDArray
from sqlalchemy import Connection, Row, insert, select, update
from sqlalchemy.exc import SQLAlchemyError

from proofbath.errors import BenchFaultError, RecordError
from proofbath.store.remedy import remedy
from proofbath.store.row import ROW_TEXT, pack, read_rows
from proofbath.store.tables import (
    CHUNK,
    EVENT,
    JOURNAL_TABLES,
    METADATA,
    RUN,
    Place,
    hold_still,
    open_engine,
    shown,
)
from proofbath.wire.table import Sample

CLOSED = "closed"
"""Kind of the event that ends a run."""
OPEN = "open"
"""Status of a run that was never closed: it is running, or its process was killed."""


class RunHead(NamedTuple):
    """What a run is, written before its first sample; the texts are kept whole."""

    started: str
    """UTC, ISO 8601."""
    bench: str
    plan_text: str
    bench_text: str
    calibration_text: str
    """JSON of the calibration in force."""
    controller: str
    """JSON of the controller's identity."""


class RunLine(NamedTuple):
    """A run as listed: `status` is "open" until it is closed with a reason."""

    run_id: int
    head: RunHead
    status: str
    reason: str


class EventLine(NamedTuple):
    """Something that happened at a device time."""

    t_s: float
    kind: str
    text: str


class Journal:
    """A journal; raises BenchFaultError when it cannot be written."""

    def __init__(self, place: Place) -> None:
        self.path = place if isinstance(place, Path) else Path()
        """Its file; for a server's database the present folder, where everything else is kept."""
        self._name = shown(place)
        self._engine = open_engine(place, keeps_connection=True)
        with self._writing() as connection:
            METADATA.create_all(connection, JOURNAL_TABLES)

    def close(self) -> None:
        """Let go of the file."""
        self._engine.dispose()

    def begin(self, head: RunHead) -> RunWriter:
        """Open a run and return its writer."""
        row = {**head._asdict(), "row_text": ROW_TEXT, "status": OPEN, "reason": ""}
        with self._writing() as connection:
            key = connection.execute(insert(RUN).values(row)).inserted_primary_key
        assert key is not None
        return RunWriter(self, int(key[0]), _first_link(head))

    def reopen(self, run_id: int) -> RunWriter:
        """Return a writer that goes on with a run after its last committed chunk.

        The run is open again; that it was closed stays in its events.  Raises RecordError for a
        run whose samples have another layout than today's.
        """
        with self._reading() as connection:
            row = self._row(connection, run_id)
        if row.row_text != ROW_TEXT:
            raise RecordError(
                f"{self._name}: run {run_id} was begun with an earlier version, whose samples hold"
                " less; what it measured can be read, but begin a new night"
            )
        with self._writing() as connection:
            connection.execute(update(RUN).where(RUN.c.id == run_id).values(status=OPEN, reason=""))
        return self.behind(run_id)

    def behind(self, run_id: int) -> RunWriter:
        """Return a writer for what comes after a run's last chunk; the run stays as it ended."""
        digest = _first_link(self.run(run_id).head)
        last = select(CHUNK).where(CHUNK.c.run_id == run_id).order_by(CHUNK.c.number.desc())
        with self._reading() as connection:
            chunk = connection.execute(last.limit(1)).one_or_none()
        if chunk is None:
            return RunWriter(self, run_id, digest)
        return RunWriter(self, run_id, chunk.digest, chunk.number + 1)

    def runs(self) -> list[RunLine]:
        """Return every run, oldest first."""
        with self._reading() as connection:
            rows = connection.execute(select(RUN).order_by(RUN.c.id)).all()
        return [_run_line(row) for row in rows]

    def run(self, run_id: int) -> RunLine:
        """Return one run; raises RecordError when there is none."""
        with self._reading() as connection:
            return _run_line(self._row(connection, run_id))

    def samples(self, run_id: int) -> NDArray[Any]:
        """Return the committed samples of a run, shape (n,) of type `ROW` (see `read_rows`)."""
        query = select(CHUNK.c.rows).where(CHUNK.c.run_id == run_id).order_by(CHUNK.c.number)
        with self._reading() as connection:
            row_text = self._row(connection, run_id).row_text
            return read_rows(b"".join(connection.execute(query).scalars()), row_text)

    def events(self, run_id: int) -> list[EventLine]:
        """Return the committed events of a run in order."""
        with self._reading() as connection:
            return [line for _, line in _events(connection, run_id)]

    def digests(self, run_id: int) -> list[str]:
        """Return the links of a run's chain in hex, the last one last."""
        query = select(CHUNK.c.digest).where(CHUNK.c.run_id == run_id).order_by(CHUNK.c.number)
        with self._reading() as connection:
            return [digest.hex() for digest in connection.execute(query).scalars()]

    def seal(self, run_id: int) -> str:
        """Return the link that closes a run, in hex; of an open run the last one.

        What is recorded behind the end does not change it.
        """
        closed = select(EVENT.c.chunk_number).where(
            EVENT.c.run_id == run_id, EVENT.c.kind == CLOSED
        )
        run = select(CHUNK.c.digest).where(CHUNK.c.run_id == run_id)
        with self._reading() as connection:
            if _run_line(self._row(connection, run_id)).status != OPEN:
                end = connection.execute(closed.order_by(EVENT.c.id.desc()).limit(1)).scalar()
                run = run if end is None else run.where(CHUNK.c.number == end)
            last = run.order_by(CHUNK.c.number.desc()).limit(1)
            digest: bytes = connection.execute(last).scalar_one()
        return digest.hex()

    def verify_chain(self, run_id: int) -> int:
        """Return how many chunks a run has; raises RecordError at the first that was changed."""
        query = select(CHUNK).where(CHUNK.c.run_id == run_id).order_by(CHUNK.c.number)
        beside: dict[int, list[EventLine]] = {}
        with self._reading() as connection:
            run = _run_line(self._row(connection, run_id))
            for at, line in _events(connection, run_id):
                beside.setdefault(at, []).append(line)
            chunks = connection.execute(query).all()
        digest = _first_link(run.head)
        changed = f"{self._name}: run {run_id} was changed after it was written"
        end: EventLine | None = None
        for number, chunk in enumerate(chunks):
            events = beside.pop(number, [])
            end = next((e for e in reversed(events) if e.kind == CLOSED), end)
            digest = _link(digest, number, chunk.rows, events)
            if chunk.number != number or chunk.digest != digest:
                raise RecordError(f"{changed}, first at chunk {number + 1}; use a backup")
        if beside or (run.status != OPEN and not _closes(end, run)):
            raise RecordError(f"{changed}: its end is missing; use a backup")
        return len(chunks)

    def _row(self, connection: Connection, run_id: int) -> Row[Any]:
        row = connection.execute(select(RUN).where(RUN.c.id == run_id)).one_or_none()
        if row is None:
            raise RecordError(
                f"{self._name}: has no run {run_id}; list the runs to see which it has"
            )
        return row

    @contextmanager
    def _writing(self) -> Iterator[Connection]:
        try:
            with self._engine.begin() as connection:
                yield connection
        except SQLAlchemyError as error:
            raise BenchFaultError(f"journal {self._name}: {remedy(error)}") from error

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        try:
            with self._engine.connect() as connection:
                hold_still(connection)
                yield connection
        except SQLAlchemyError as error:
            raise RecordError(f"journal {self._name}: {remedy(error)}") from error


class RunWriter:
    """Appends to one open run; nothing is kept before `commit`."""

    def __init__(self, journal: Journal, run_id: int, digest: bytes, number: int = 0) -> None:
        self.run_id = run_id
        self._journal = journal
        self._digest = digest
        self._number = number
        self._rows: list[bytes] = []
        self._sequences: list[int] = []
        self._events: list[EventLine] = []

    def append(self, sample: Sample) -> None:
        """Take a sample into the chunk that is being filled."""
        self._rows.append(pack(sample))
        if not self._sequences:
            self._sequences = [sample.sequence, 0]
        self._sequences[1] = sample.sequence

    def note(self, t_s: float, kind: str, text: str) -> None:
        """Take an event into the chunk that is being filled."""
        self._events.append(EventLine(t_s, kind, text))

    def commit(self) -> None:
        """Write what was taken since the last commit; on BenchFaultError it stays for the next."""
        if self._rows or self._events:
            with self._journal._writing() as connection:
                digest = self._write(connection, self._events)
            self._taken(digest)

    def close(self, t_s: float, status: str, reason: str) -> None:
        """Commit the rest and close the run with its status and reason."""
        events = [*self._events, _closing(t_s, status, reason)]
        with self._journal._writing() as connection:
            digest = self._write(connection, events)
            connection.execute(
                update(RUN).where(RUN.c.id == self.run_id).values(status=status, reason=reason)
            )
        self._taken(digest)

    def _write(self, connection: Connection, events: list[EventLine]) -> bytes:
        rows = b"".join(self._rows)
        digest = _link(self._digest, self._number, rows, events)
        first, last = self._sequences or (0, 0)
        at = {"run_id": self.run_id, "number": self._number}
        connection.execute(
            insert(CHUNK).values(
                **at, first_sequence=first, last_sequence=last, rows=rows, digest=digest
            )
        )
        if events:
            beside = {"run_id": self.run_id, "chunk_number": self._number}
            connection.execute(insert(EVENT), [{**beside, **e._asdict()} for e in events])
        return digest

    def _taken(self, digest: bytes) -> None:
        self._digest = digest
        self._number += 1
        self._rows, self._sequences, self._events = [], [], []


def _closing(t_s: float, status: str, reason: str) -> EventLine:
    return EventLine(t_s, CLOSED, f"{status}: {reason}")


def _closes(end: EventLine | None, run: RunLine) -> bool:
    return end is not None and end == _closing(end.t_s, run.status, run.reason)


def _run_line(row: Row[Any]) -> RunLine:
    head = RunHead(*(getattr(row, name) for name in RunHead._fields))
    return RunLine(row.id, head, row.status, row.reason)


def _events(connection: Connection, run_id: int) -> list[tuple[int, EventLine]]:
    query = select(EVENT).where(EVENT.c.run_id == run_id).order_by(EVENT.c.id)
    return [
        (row.chunk_number, EventLine(row.t_s, row.kind, row.text))
        for row in connection.execute(query)
    ]


def _first_link(head: RunHead) -> bytes:
    return hashlib.sha256(json.dumps(head).encode()).digest()


def _link(before: bytes, number: int, rows: bytes, events: list[EventLine]) -> bytes:
    beside = json.dumps([number, len(rows), events]).encode()
    return hashlib.sha256(before + beside + rows).digest()
