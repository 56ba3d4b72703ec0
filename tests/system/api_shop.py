"""A small workshop served for tests of the API: a measured batch, certificates, all rights."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any, NamedTuple

import requests

from host.workshop.ferry_shop import BATCH, CERTIFIER, OPERATOR, QUAY, REFERENCE, ferry_shop
from proofbath.bench.clock import utc_text
from proofbath.store.kinds import Batch, Person
from proofbath.workshop.papers import certify
from system.web_shop import (
    ADMINISTRATOR,
    EVERYBODY,
    PASSWORD,
    PEOPLE,
    VIEWER,
    Served,
    give_passwords,
    served,
)

SERIALS = ("T82-0001", "T82-0002")


class Api(NamedTuple):
    """A served workshop, and what is on record in it by the names of the API's fields."""

    served: Served
    known: dict[str, list[Any]]
    sessions: dict[str, requests.Session]
    """Somebody of each right, signed in before any wrong password slows signing in down."""


@contextmanager
def api_shop(folder: Path) -> Iterator[Api]:
    """Serve a small workshop with a measured batch, its certificates and somebody of each right."""
    now = utc_text()
    today = dt.date.fromisoformat(now[:10])
    with ferry_shop(folder) as ferry:
        ferry.day = today - dt.timedelta(days=1)
        ferry.calibrate()
        ferry.batch(SERIALS)
        run = ferry.night("as-found", dict.fromkeys(SERIALS, 82.0))
        for name, rights in (
            (VIEWER, ("viewer",)),
            (ADMINISTRATOR, ("administrator",)),
            (EVERYBODY, tuple(PEOPLE)),
        ):
            person = Person.model_validate({"name": name, "rights": rights})
            ferry.shop.records.add(person, ferry.stamp)
        give_passwords(ferry.shop, ferry.stamp)
        certified = certify(ferry.shop, BATCH, ferry.shop.stamp(CERTIFIER, now))
        number = ferry.shop.records.find(Batch, name=BATCH).root
        papers = [unit.pdf.name for unit in certified if unit.pdf]
        assert papers, certified
    assert {CERTIFIER, OPERATOR} < {*PEOPLE.values()}
    known = {
        "serial": [*SERIALS, REFERENCE],
        "number": [number, *(unit.number for unit in certified)],
        "batch": [BATCH],
        "bench": [QUAY],
        "name": [QUAY, "Teal-82", *papers],
        "type": ["Teal-82"],
        "unit_type": ["Teal-82"],
        "run": [run],
        "stage": ["as-left"],
        "rights": [["viewer"]],
    }
    with served(folder / "workshop.toml") as opened, ExitStack() as stack:
        sessions = {right: stack.enter_context(requests.Session()) for right in PEOPLE}
        for right, session in sessions.items():
            sign_in(session, opened.address, PEOPLE[right])
        yield Api(opened, known, sessions)


def sign_in(session: requests.Session, address: str, name: str) -> None:
    """Sign in by the API; the session sends the token with every change from now on."""
    answer = session.post(f"{address}/api/session", json={"name": name, "password": PASSWORD})
    assert answer.status_code == 200, answer.text
    session.headers["X-Proofbath-Token"] = answer.json()["token"]
