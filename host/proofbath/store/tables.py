"""The journal's tables, and how a database is opened: a SQLite file or PostgreSQL by URL."""

from __future__ import annotations

import hashlib
import sqlite3
from pathlib import Path
from typing import Any

from sqlalchemy import (
    Column,
    Connection,
    Engine,
    Float,
    ForeignKey,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    create_engine,
    event,
)
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, NoSuchModuleError
from sqlalchemy.pool import NullPool

from proofbath.errors import InputError

BUSY_TIMEOUT_MS = 200
"""How long a write waits for another process; well inside a demand's lease."""

CONNECT_TIMEOUT_S = 10
Place = Path | str
"""Where records are: a SQLite file, or the URL of a database."""

METADATA = MetaData()

RUN = Table(
    "run",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("started", String, nullable=False),
    Column("bench", String, nullable=False),
    Column("plan_text", Text, nullable=False),
    Column("bench_text", Text, nullable=False),
    Column("calibration_text", Text, nullable=False),
    Column("controller", String, nullable=False),
    Column("row_text", Text, nullable=False),
    Column("status", String, nullable=False),
    Column("reason", Text, nullable=False),
)

CHUNK = Table(
    "chunk",
    METADATA,
    Column("run_id", ForeignKey("run.id"), primary_key=True),
    Column("number", Integer, primary_key=True),
    Column("first_sequence", Integer, nullable=False),
    Column("last_sequence", Integer, nullable=False),
    Column("rows", LargeBinary, nullable=False),
    Column("digest", LargeBinary(32), nullable=False),
)

EVENT = Table(
    "event",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("run_id", ForeignKey("run.id"), nullable=False, index=True),
    Column("chunk_number", Integer, nullable=False),
    Column("t_s", Float, nullable=False),
    Column("kind", String, nullable=False),
    Column("text", Text, nullable=False),
)

JOURNAL_TABLES = (RUN, CHUNK, EVENT)


def open_engine(
    place: Place, busy_timeout_ms: int = BUSY_TIMEOUT_MS, keeps_connection: bool = False
) -> Engine:
    """Return an engine on a SQLite file that survives a power cut, or on a PostgreSQL database.

    The file is kept in WAL mode, synchronous FULL. `keeps_connection` is for who commits each
    second and closes in the end.  Raises InputError for a URL of neither.
    """
    url = url_of(place)
    if url.get_backend_name() == "postgresql":
        return _server_engine(url, keeps_connection)
    if url.get_backend_name() != "sqlite":
        raise InputError(f"{url}: only SQLite files and postgresql:// databases hold records")
    engine = create_engine(url)

    def settle(connection: Any, _record: object) -> None:
        connection.execute(f"PRAGMA busy_timeout = {busy_timeout_ms}")
        _use_wal(connection)
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("PRAGMA foreign_keys = ON")

    event.listen(engine, "connect", settle)
    return engine


def _use_wal(connection: Any) -> None:
    """Let readers go on beside a writer; the mode is the file's and stays with it.

    SQLite does not wait for the lock of this switch.  Where another holds it, two open a new file
    at once: the other one switches, or this one's next connection does.
    """
    try:
        connection.execute("PRAGMA journal_mode = WAL")
    except sqlite3.OperationalError as error:
        if error.sqlite_errorcode != sqlite3.SQLITE_BUSY:
            raise


def hold_still(connection: Connection) -> None:
    """Let all that a connection reads be of one moment, whoever writes meanwhile."""
    if connection.dialect.name == "sqlite":
        connection.exec_driver_sql("BEGIN")
    else:
        connection.execution_options(isolation_level="REPEATABLE READ")


def place_of(text: str) -> Place:
    """Return what an operator names: a database's URL as it is, anything else as a file."""
    return text if "://" in text else Path(text)


def place_key(place: Place) -> str:
    """Return what tells a place from others on this computer, and gives nothing of it away."""
    text = place if isinstance(place, str) else str(place.resolve())
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def url_of(place: Place) -> URL:
    """Return the URL of a place; raises InputError when it is none."""
    if isinstance(place, Path):
        return URL.create("sqlite", database=str(place))
    try:
        return make_url(place)
    except ArgumentError as error:
        raise InputError(f"{place}: is no URL of a database") from error


def shown(place: Place) -> str:
    """Return what a place is called in texts, without its password."""
    return str(place) if isinstance(place, Path) else url_of(place).render_as_string()


def _server_engine(url: URL, keeps_connection: bool) -> Engine:
    driver = url.set(drivername="postgresql+psycopg")
    try:
        # A connection a transaction, or one kept and looked at before each: either way one that a
        # restarted server dropped is nobody's trouble.
        pool: Any = {"pool_size": 1, "pool_pre_ping": True}
        return create_engine(
            driver,
            connect_args={"connect_timeout": CONNECT_TIMEOUT_S},
            **(pool if keeps_connection else {"poolclass": NullPool}),
        )
    except (ModuleNotFoundError, NoSuchModuleError) as error:
        raise InputError(
            f"{url.render_as_string()}: needs the package psycopg; install proofbath[postgresql]"
        ) from error
