"""Sessions: a secret token in the browser's cookie, its digest here, ended by time or by hand."""

from __future__ import annotations

import hashlib
import hmac
import secrets
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import NamedTuple

from proofbath.errors import RecordError
from proofbath.store.access import Access, WebSession
from proofbath.store.kinds import Person, Right
from proofbath.store.records import Kept, Records
from proofbath.workshop.serve_settings import ServeSettings

_NOTED_EVERY = timedelta(minutes=5)
"""How often a session's last use is written down."""


class Signed(NamedTuple):
    """Who is signed in; `form_token` goes with every form, `first` means: change the password."""

    person: Kept[Person]
    digest: str
    form_token: str
    first: bool

    @property
    def rights(self) -> tuple[Right, ...]:
        """What the person may do."""
        return self.person.entry.rights


def digest_of(token: str) -> str:
    """Return what is kept of a session's token."""
    return hashlib.sha256(token.encode(errors="replace")).hexdigest()


def form_token_of(token: str) -> str:
    """Return the token of a session's forms; it tells nothing of the session's own."""
    return hmac.new(token.encode(errors="replace"), b"proofbath form", "sha256").hexdigest()


class Sessions:
    """Begins, finds and ends sessions; `utc` tells the time as ISO 8601."""

    def __init__(
        self, access: Access, records: Records, settings: ServeSettings, utc: Callable[[], str]
    ) -> None:
        self._access, self._records, self._utc = access, records, utc
        self._idle = timedelta(hours=settings.session_idle_h)
        self._longest = timedelta(hours=settings.session_longest_h)

    def begin(self, person_id: int, address: str) -> str:
        """Begin a session and return its token; those whose time is over are swept away."""
        token, at = secrets.token_urlsafe(32), self._utc()
        self._access.end(*(s.digest for s in self._access.sessions() if self._over(s, at)))
        self._access.begin(WebSession(digest_of(token), person_id, at, at, address))
        return token

    def find(self, token: str) -> Signed | None:
        """Return who a token stands for; None for one that is unknown or over."""
        digest, at = digest_of(token), self._utc()
        session = self._access.session(digest)
        if session is None or self._over(session, at):
            return None
        credential = self._access.credential(session.person_id)
        person = _active(self._records, session.person_id)
        if person is None or credential is None:
            return None
        if _since(session.seen, at) >= _NOTED_EVERY:
            self._access.seen(digest, at)
        return Signed(person, digest, form_token_of(token), credential.first)

    def _over(self, session: WebSession, at: str) -> bool:
        return _since(session.seen, at) > self._idle or _since(session.begun, at) > self._longest


def _since(earlier: str, at: str) -> timedelta:
    return datetime.fromisoformat(at) - datetime.fromisoformat(earlier)


def _active(records: Records, person_id: int) -> Kept[Person] | None:
    try:
        person = records.one(Person, person_id)
    except RecordError:
        return None
    return person if person.entry.active else None
