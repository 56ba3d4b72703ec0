"""Passwords: hashed by Argon2id, checked in the same time whether the name is known or not."""

from __future__ import annotations

import threading
import unicodedata

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from proofbath.errors import InputError

SHORTEST, LONGEST = 10, 1000
_AT_ONCE = 2
"""Each hash fills 64 MiB; more of them at once would let anybody exhaust the memory."""


def check_password(password: str) -> None:
    """Refuse a password that is too short or too long; there are no other rules."""
    if not SHORTEST <= len(password) <= LONGEST:
        raise InputError(
            f"password: {len(password)} characters, {SHORTEST} to {LONGEST} are allowed;"
            " several words are easy to keep in mind"
        )


class Passwords:
    """Makes and checks hashes; the hasher's cost may be given."""

    def __init__(self, hasher: PasswordHasher | None = None) -> None:
        self._hasher = hasher or PasswordHasher()
        self._turn = threading.BoundedSemaphore(_AT_ONCE)
        self._nobodys = self._hasher.hash("the hash that unknown names are checked against")

    def hash(self, password: str) -> str:
        """Return the salted hash of a password; raises InputError for one of wrong length."""
        check_password(password)
        with self._turn:
            return self._hasher.hash(_same(password))

    def fits(self, kept: str | None, password: str) -> bool:
        """Whether a password is the one kept; None (nobody's) takes as long and never fits."""
        try:
            with self._turn:
                self._hasher.verify(kept or self._nobodys, _same(password[:LONGEST]))
        except (VerificationError, InvalidHashError):
            return False
        return kept is not None


def _same(password: str) -> str:
    """Return what differently composed spellings of a password have in common."""
    return unicodedata.normalize("NFKC", password)
