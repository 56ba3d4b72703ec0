"""What a database's error means to its user, in one line with the remedy."""

from __future__ import annotations

from sqlalchemy.exc import SQLAlchemyError

_KNOWN = {
    "locked": "another program holds it; close that program and start again",
    "full": "the disk is full; free space and start again",
    "No space left": "the server's disk is full; free space and start again",
    "unable to open": "cannot be opened; check that its folder exists and may be written",
    "readonly": "may not be written; check its permissions",
    "not a database": "is not a journal; name another file",
    "malformed": "is damaged; use a backup",
    "connection to server": "cannot be reached; check the server, its name and the password",
}


def remedy(error: SQLAlchemyError) -> str:
    """Return the remedy, and the database's own first line in brackets."""
    cause = str(getattr(error, "orig", error)).partition("\n")[0]
    advice = next((text for word, text in _KNOWN.items() if word in cause), "check the disk")
    return f"{advice} ({cause})"
