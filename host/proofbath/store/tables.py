"""The journal's tables and how its database is opened."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from sqlalchemy import (
    Column,
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
from sqlalchemy.engine import URL

BUSY_TIMEOUT_MS = 200
"""How long a write waits for another process; well inside a demand's lease."""

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


def open_engine(path: Path) -> Engine:
    """Return an engine on a SQLite file that survives a power cut: WAL, synchronous FULL."""
    engine = create_engine(URL.create("sqlite", database=str(path)))
    event.listen(engine, "connect", _settle)
    return engine


def _settle(connection: Any, _record: object) -> None:
    for pragma in (
        f"busy_timeout = {BUSY_TIMEOUT_MS}",
        "journal_mode = WAL",
        "synchronous = FULL",
        "foreign_keys = ON",
    ):
        connection.execute(f"PRAGMA {pragma}")
