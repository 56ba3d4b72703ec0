"""The whole API against its own description: whatever is sent, no answer is an error of ours.

Requests are made from the OpenAPI description by schemathesis, fitting it and not, for somebody of
each right; half of them name what is really on record, so that they come beyond the first check.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from contextlib import ExitStack
from typing import Any, NamedTuple

import pytest
import requests
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from schemathesis import Case, GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.core.failures import FailureGroup
from schemathesis.schemas import APIOperation
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from host.workshop.ferry_shop import BATCH, CERTIFIER, OPERATOR, QUAY, REFERENCE, ferry_shop
from proofbath.bench.clock import utc_text
from proofbath.store.kinds import Batch, Person
from proofbath.workshop.papers import certify
from system.web_shop import (
    ADMINISTRATOR,
    PASSWORD,
    PEOPLE,
    VIEWER,
    Served,
    give_passwords,
    served,
)

pytestmark = pytest.mark.xdist_group("api")
SERIALS = ("F82-0001", "F82-0002")
EXAMPLES = 12
CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_schema_conformance,
]
LAST = ("/api/people", "/api/password", "/api/session")
"""What changes who may come in is asked last, what ends a session at the very end."""


class Api(NamedTuple):
    """A served workshop, and what is on record in it by the names of the API's fields."""

    served: Served
    known: dict[str, list[Any]]
    sessions: dict[str, requests.Session]
    """Somebody of each right, signed in before any wrong password slows signing in down."""


@pytest.fixture(scope="module")
def api(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Api]:
    """Serve a small workshop with a measured batch, its certificates and somebody of each right."""
    folder = tmp_path_factory.mktemp("api")
    now = utc_text()
    today = dt.date.fromisoformat(now[:10])
    with ferry_shop(folder) as ferry:
        ferry.day = today - dt.timedelta(days=1)
        ferry.calibrate()
        ferry.batch(SERIALS)
        run = ferry.night("as-found", dict.fromkeys(SERIALS, 82.0))
        for name, right in ((VIEWER, "viewer"), (ADMINISTRATOR, "administrator")):
            ferry.shop.records.add(Person(name=name, rights=(right,)), ferry.stamp)
        give_passwords(ferry.shop, ferry.stamp)
        certified = certify(ferry.shop, BATCH, CERTIFIER, now, today)
        number = ferry.shop.records.find(Batch, name=BATCH).root
        papers = [unit.pdf.name for unit in certified if unit.pdf]
        assert papers, certified
    assert {CERTIFIER, OPERATOR} < {*PEOPLE.values()}
    known = {
        "serial": [*SERIALS, REFERENCE],
        "number": [number, *(unit.number for unit in certified)],
        "batch": [BATCH],
        "bench": [QUAY],
        "name": [QUAY, "F82", *papers],
        "type": ["F82"],
        "unit_type": ["F82"],
        "run": [run],
        "stage": ["as-left"],
        "rights": [["viewer"]],
    }
    with served(folder / "workshop.toml") as opened, ExitStack() as stack:
        sessions = {right: stack.enter_context(requests.Session()) for right in PEOPLE}
        for right, session in sessions.items():
            sign_in(session, opened.address, PEOPLE[right])
        yield Api(opened, known, sessions)


@pytest.mark.parametrize("right", [*PEOPLE])
def test_no_request_makes_an_error_of_ours(api: Api, right: str) -> None:
    session = api.sessions[right]
    described = session.get(f"{api.served.address}/api/openapi.json").json()
    schema = schemathesis.openapi.from_dict(described)
    operations = [found.ok() for found in schema.get_all_operations()]
    assert len(operations) > 50
    failures = []
    for operation in sorted(operations, key=turn):
        try:
            ask_all(api, session, operation)
        except (AssertionError, FailureGroup) as error:
            failures.append(f"{operation.label}: {error}")
    assert not failures, "\n".join(failures)


def turn(operation: APIOperation) -> int:
    """Return when an operation's turn is."""
    return max((n for n, path in enumerate(LAST, 1) if operation.path.startswith(path)), default=0)


def sign_in(session: requests.Session, address: str, name: str) -> None:
    """Sign in by the API; the session sends the token with every change from now on."""
    answer = session.post(f"{address}/api/session", json={"name": name, "password": PASSWORD})
    assert answer.status_code == 200, answer.text
    session.headers["X-Proofbath-Token"] = answer.json()["token"]


def ask_all(api: Api, session: requests.Session, operation: APIOperation) -> None:
    """Send requests to an operation; each answer must be one that its description has."""

    @settings(
        max_examples=EXAMPLES,
        derandomize=True,
        database=None,
        deadline=None,
        phases=[Phase.generate],
        suppress_health_check=[*HealthCheck],
    )
    @given(case=cases(operation), choice=st.randoms(use_true_random=False))
    def ask(case: Case, choice: Any) -> None:
        if choice.random() < 0.5:
            name_what_is_known(case, api.known, choice)
        answer = case.call(base_url=api.served.address, session=session)
        case.validate_response(answer, checks=CHECKS)

    ask()


def cases(operation: APIOperation) -> st.SearchStrategy[Case]:
    """Return requests that fit an operation's description, and ones that do not."""
    return st.one_of(
        operation.as_strategy(generation_mode=GenerationMode.POSITIVE),
        operation.as_strategy(generation_mode=GenerationMode.NEGATIVE),
    )


def name_what_is_known(case: Case, known: dict[str, list[Any]], choice: Any) -> None:
    """Put what is on record where a request names something."""
    for part in (case.path_parameters, case.query, case.body):
        if isinstance(part, dict):
            for name in part.keys() & known.keys():
                part[name] = choice.choice(known[name])
