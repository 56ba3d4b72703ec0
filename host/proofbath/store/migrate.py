"""Brings a database to this version's schema, from any released one, or refuses it untouched."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import Connection, inspect
from sqlalchemy.exc import SQLAlchemyError

from proofbath.errors import RecordError
from proofbath.store.database import Database
from proofbath.store.remedy import remedy

HEAD = "0007"
"""The newest revision in `migrations/versions`."""
_SCRIPTS = Path(__file__).parent / "migrations"
_LOCK_KEY = 8274
"""Any number: those who migrate a server's database queue for it."""


def revision_of(connection: Connection) -> str | None:
    """Return the schema's revision, None where it has none: empty, or a journal alone."""
    if not inspect(connection).has_table("alembic_version"):
        return None
    found = connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalar()
    return None if found is None else str(found)


def migrate(database: Database) -> None:
    """Bring a database to the newest schema in one transaction; raises RecordError."""
    with database.reading() as connection:
        if revision_of(connection) == HEAD:
            return
    try:
        with database.engine.connect() as connection:
            if connection.dialect.name == "sqlite":
                connection.exec_driver_sql("BEGIN IMMEDIATE")
            else:
                connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_LOCK_KEY})")
            upgrade(connection, database.name)
            connection.commit()
    except SQLAlchemyError as error:
        raise RecordError(f"records {database.name}: {remedy(error)}") from error


def upgrade(connection: Connection, name: str) -> None:
    """Carry out what is missing on a connection that is in a transaction."""
    from alembic import command
    from alembic.config import Config
    from alembic.script import ScriptDirectory

    config = Config()
    config.set_main_option("script_location", str(_SCRIPTS).replace("%", "%%"))
    config.attributes["connection"] = connection
    found = revision_of(connection)
    known = {script.revision for script in ScriptDirectory.from_config(config).walk_revisions()}
    if found is not None and found not in known:
        raise RecordError(
            f"records {name}: written by a newer proofbath (schema {found}, this one knows {HEAD});"
            " update proofbath"
        )
    command.upgrade(config, "head")
