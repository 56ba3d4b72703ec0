"""Somebody stands at the bench: a code of four digits, read there, that pages ask for before heat.

The code is made from a secret in a file beside the workshop's, which its owner alone may read, and
is good for one start within `VALID_S`; a few wrong tries burn it.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import hmac
import json
import os
import secrets
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from pydantic import Field, ValidationError

from proofbath.description import Described
from proofbath.errors import InputError, RecordError

if sys.platform != "win32":
    import fcntl

FILE = "presence.json"
VALID_S = 600
TRIES = 3
DIGITS = 4
HOW = "at the bench computer's own terminal type: proofbath bench code"


class Issued(Described):
    """A code that was read at a bench; it is not kept, but made again from the secret."""

    at: str
    """When, ISO 8601 UTC."""
    nonce: str
    wrong: int = 0
    """Wrong tries since."""


class Presence(Described):
    """What the file holds."""

    secret: str
    codes: dict[str, Issued] = Field(default_factory=dict)
    """By the bench's name."""

    def code(self, bench: str) -> str:
        """Return the code of a bench, four digits."""
        issued = self.codes[bench]
        text = json.dumps([bench, issued.at, issued.nonce])
        digest = hmac.new(bytes.fromhex(self.secret), text.encode(), hashlib.sha256).digest()
        return f"{int.from_bytes(digest[:8], 'big') % 10**DIGITS:0{DIGITS}}"

    def having(self, bench: str, issued: Issued | None) -> Presence:
        """Return it with another code of a bench, None for no code."""
        codes = {name: one for name, one in self.codes.items() if name != bench}
        return self.model_copy(update={"codes": codes | ({bench: issued} if issued else {})})


def issue_code(folder: Path, bench: str, at: str) -> str:
    """Make a bench's code, good from `at` (ISO 8601 UTC) on; the one before is good no more."""
    with _opened(folder) as kept:
        kept.now = kept.now.having(bench, Issued(at=at, nonce=secrets.token_hex(16)))
        return kept.now.code(bench)


def check_code(folder: Path, bench: str, given: str, at: str) -> None:
    """Refuse a code that is not the bench's at a time; raises InputError, and counts wrong ones."""
    with _opened(folder) as kept:
        issued = kept.now.codes.get(bench)
        if issued is None or not _valid(issued, at):
            raise InputError(f"bench code: none of bench {bench} is valid now; {HOW}")
        if not given:
            raise InputError(f"bench code: not given; {HOW}")
        if hmac.compare_digest(given.encode(), kept.now.code(bench).encode()):
            return
        left = TRIES - issued.wrong - 1
        wrong = issued.model_copy(update={"wrong": issued.wrong + 1})
        kept.now = kept.now.having(bench, wrong if left else None)
    if left:
        tries = "1 try is" if left == 1 else f"{left} tries are"
        raise InputError(f"bench code: is another one; {tries} left")
    raise InputError(f"bench code: wrong {TRIES} times and burnt; for a new one {HOW}")


def spend_code(folder: Path, bench: str) -> None:
    """A start was made by the bench's code: it is good no more."""
    with _opened(folder) as kept:
        kept.now = kept.now.having(bench, None)


def _valid(issued: Issued, at: str) -> bool:
    age = dt.datetime.fromisoformat(at) - dt.datetime.fromisoformat(issued.at)
    return 0 <= age.total_seconds() < VALID_S


class _Kept:
    now: Presence


@contextmanager
def _opened(folder: Path) -> Iterator[_Kept]:
    """Hold the file for one writer at a time; what was changed is written, even on an error."""
    path, kept = folder / FILE, _Kept()
    try:
        number = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
    except OSError as error:
        raise RecordError(f"{path}: cannot be used: {error.strerror}") from error
    with os.fdopen(number, "r+", encoding="utf-8") as file:
        if sys.platform != "win32":
            fcntl.flock(number, fcntl.LOCK_EX)
            if os.fstat(number).st_mode & 0o077:
                raise RecordError(f"{path}: others may read it; say chmod 600, or remove it")
        before = kept.now = _read(path, file.read())
        try:
            yield kept
        finally:
            if kept.now is not before:
                file.seek(0)
                file.write(kept.now.model_dump_json())
                file.truncate()
                file.flush()
                os.fsync(number)


def _read(path: Path, text: str) -> Presence:
    if not text:
        return Presence(secret=secrets.token_hex(32))
    try:
        return Presence.model_validate_json(text)
    except ValidationError as error:
        raise RecordError(f"{path}: is damaged; remove it and read a new code") from error
