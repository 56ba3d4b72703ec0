"""Passwords (as hashes) and sessions of the pages: tables that change, beside the records."""

from __future__ import annotations

from typing import NamedTuple

from sqlalchemy import (
    Boolean,
    Column,
    ForeignKey,
    String,
    Table,
    Text,
    delete,
    insert,
    select,
    update,
)

from proofbath.store.database import Database
from proofbath.store.migrate import migrate
from proofbath.store.tables import METADATA, Place

CREDENTIAL = Table(
    "credential",
    METADATA,
    Column("person_id", ForeignKey("person.id"), primary_key=True),
    Column("password_hash", Text, nullable=False),
    Column("first", Boolean, nullable=False),
    Column("changed", String, nullable=False),
)
SESSION = Table(
    "web_session",
    METADATA,
    Column("digest", String(64), primary_key=True),
    Column("person_id", ForeignKey("person.id"), nullable=False),
    Column("begun", String, nullable=False),
    Column("seen", String, nullable=False),
    Column("address", String, nullable=False),
)


class Credential(NamedTuple):
    """A person's password hash; a `first` one was chosen by somebody else and must be changed."""

    person_id: int
    password_hash: str
    first: bool
    changed: str


class WebSession(NamedTuple):
    """A session by the SHA-256 of its token; times are ISO 8601 UTC."""

    digest: str
    person_id: int
    begun: str
    seen: str
    address: str


class Access:
    """The passwords and sessions at a place; persons are named by their number on record."""

    def __init__(self, place: Place) -> None:
        self._database = Database(place)
        migrate(self._database)

    def close(self) -> None:
        """Let go of the place."""
        self._database.close()

    def credential(self, person_id: int) -> Credential | None:
        """Return a person's credential, None for one who cannot sign in."""
        with self._database.reading() as connection:
            query = select(CREDENTIAL).where(CREDENTIAL.c.person_id == person_id)
            row = connection.execute(query).first()
        return None if row is None else Credential(*row)

    def credentials(self) -> dict[int, Credential]:
        """Return the credentials of all who have one, by person."""
        with self._database.reading() as connection:
            return {
                row.person_id: Credential(*row) for row in connection.execute(select(CREDENTIAL))
            }

    def set_password(self, credential: Credential) -> None:
        """Set or replace a person's password; all sessions of the person end."""
        person_id = credential.person_id
        with self._database.writing(CREDENTIAL.name) as connection:
            connection.execute(delete(CREDENTIAL).where(CREDENTIAL.c.person_id == person_id))
            connection.execute(insert(CREDENTIAL).values(credential._asdict()))
            connection.execute(delete(SESSION).where(SESSION.c.person_id == person_id))

    def begin(self, session: WebSession) -> None:
        """Keep a new session."""
        with self._database.writing(SESSION.name) as connection:
            connection.execute(insert(SESSION).values(session._asdict()))

    def session(self, digest: str) -> WebSession | None:
        """Return the session of a token's digest, None where there is none."""
        with self._database.reading() as connection:
            row = connection.execute(select(SESSION).where(SESSION.c.digest == digest)).first()
        return None if row is None else WebSession(*row)

    def sessions(self) -> list[WebSession]:
        """Return all sessions, the one last seen first."""
        with self._database.reading() as connection:
            rows = connection.execute(select(SESSION).order_by(SESSION.c.seen.desc())).all()
        return [WebSession(*row) for row in rows]

    def seen(self, digest: str, at: str) -> None:
        """Keep when a session was last used."""
        with self._database.writing(SESSION.name) as connection:
            connection.execute(update(SESSION).where(SESSION.c.digest == digest).values(seen=at))

    def end(self, *digests: str) -> None:
        """End sessions; those that are not there are nobody's trouble."""
        with self._database.writing(SESSION.name) as connection:
            connection.execute(delete(SESSION).where(SESSION.c.digest.in_(digests)))

    def end_all_of(self, person_id: int) -> None:
        """End all sessions of a person."""
        with self._database.writing(SESSION.name) as connection:
            connection.execute(delete(SESSION).where(SESSION.c.person_id == person_id))
