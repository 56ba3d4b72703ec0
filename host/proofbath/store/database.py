"""A database opened for records: one writer at a time, its errors in one line."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy import Connection
from sqlalchemy.exc import SQLAlchemyError

from proofbath.errors import InputError, RecordError
from proofbath.store.remedy import remedy
from proofbath.store.tables import Place, hold_still, open_engine, shown

PATIENCE_MS = 5000
"""How long a write waits for another process: a migration, a backup, a night's commit."""


class Database:
    """Transactions on one place; a write is whole or does not happen."""

    def __init__(self, place: Place) -> None:
        self.place = place
        self.name = shown(place)
        self.engine = open_engine(place, PATIENCE_MS)

    def close(self) -> None:
        """Let go of it."""
        self.engine.dispose()

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Yield a connection to read one moment by; raises RecordError."""
        with self._told(), self.engine.connect() as connection:
            hold_still(connection)
            yield connection

    @contextmanager
    def writing(self, lock: str) -> Iterator[Connection]:
        """Yield a transaction that no other writer overlaps, committed at the end.

        `lock` is the table that writers queue for on a server.  Raises RecordError.
        """
        with self._told(), self.engine.connect() as connection:
            if connection.dialect.name == "sqlite":
                connection.exec_driver_sql("BEGIN IMMEDIATE")
            else:
                connection.exec_driver_sql(f"LOCK TABLE {lock} IN SHARE ROW EXCLUSIVE MODE")
            yield connection
            connection.commit()

    @contextmanager
    def _told(self) -> Iterator[None]:
        try:
            yield
        except SQLAlchemyError as error:
            raise RecordError(f"records {self.name}: {remedy(error)}") from error
        except UnicodeEncodeError as error:
            raise InputError(f"text with half a sign (position {error.start})") from error
