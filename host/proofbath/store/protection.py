"""Triggers by which the database itself refuses to change what is on record."""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import Connection, text

_WORDS = "what is on record stays; add a correction with its reason"


def protect(connection: Connection, table: str, key: str) -> None:
    """Make the database refuse to change, delete or replace rows of a table with a `key`."""
    made = _for_sqlite if connection.dialect.name == "sqlite" else _for_server
    for statement in made(table, key):
        connection.execute(text(statement))


def _for_sqlite(table: str, key: str) -> Iterator[str]:
    again = f"WHEN EXISTS (SELECT 1 FROM {table} WHERE {key} = NEW.{key})"
    for act, when in (("UPDATE", ""), ("DELETE", ""), ("INSERT", again)):
        yield (
            f"CREATE TRIGGER {table}_no_{act.lower()} BEFORE {act} ON {table} {when} "
            f"BEGIN SELECT RAISE(ABORT, '{table}: {_WORDS}'); END"
        )


def _for_server(table: str, _key: str) -> Iterator[str]:
    yield (
        "CREATE OR REPLACE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$ "
        f"BEGIN RAISE EXCEPTION '%: {_WORDS}', TG_TABLE_NAME; END $$"
    )
    for act, each in (("UPDATE OR DELETE", "ROW"), ("TRUNCATE", "STATEMENT")):
        yield (
            f"CREATE TRIGGER {table}_no_{act.split()[0].lower()} BEFORE {act} ON {table} "
            f"FOR EACH {each} EXECUTE FUNCTION refuse_change()"
        )
