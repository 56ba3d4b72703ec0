"""Passwords and sessions beside the records, on a file and on a server."""

from __future__ import annotations

import pytest

from host.store.conftest import EVERYWHERE
from host.store.shop import AT, certifier
from proofbath.store.access import Access, Credential, WebSession
from proofbath.store.records import Records
from proofbath.store.tables import Place

everywhere = pytest.mark.parametrize("place", EVERYWHERE, indirect=True)


def session(name: str, person_id: int, seen: str = AT) -> WebSession:
    return WebSession(name * 64, person_id, AT, seen, "10.0.0.7")


@everywhere
def test_a_new_password_replaces_the_old_one_and_ends_the_sessions(place: Place) -> None:
    records, access = Records(place), Access(place)
    ada = certifier(records).by
    assert ada is not None
    assert access.credential(ada) is None
    access.set_password(Credential(ada, "one", True, AT))
    access.begin(session("a", ada))
    assert access.session("a" * 64) == session("a", ada)
    access.set_password(Credential(ada, "two", False, AT))
    assert access.sessions() == []
    assert access.credentials() == {ada: Credential(ada, "two", False, AT)}
    access.close()


@everywhere
def test_sessions_are_seen_and_ended(place: Place) -> None:
    records, access = Records(place), Access(place)
    ada = certifier(records).by
    assert ada is not None
    for name in "abc":
        access.begin(session(name, ada))
    later = "2025-10-01T19:00:00+00:00"
    access.seen("b" * 64, later)
    assert access.sessions()[0] == session("b", ada, later)
    access.end("b" * 64, "nobody's")
    assert {kept.digest[0] for kept in access.sessions()} == {"a", "c"}
    access.end()
    access.end_all_of(ada)
    assert access.sessions() == []
    access.close()


@everywhere
def test_neither_is_part_of_the_chain(place: Place) -> None:
    records, access = Records(place), Access(place)
    ada = certifier(records).by
    assert ada is not None
    head = records.head()
    access.set_password(Credential(ada, "one", True, AT))
    access.begin(session("a", ada))
    assert records.verify(head).head == head
    access.close()
