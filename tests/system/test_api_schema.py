"""The whole API against its own description: whatever is sent, no answer is an error of ours.

Requests are made from the OpenAPI description by schemathesis, fitting it and not, for somebody of
each right; half of them name what is really on record, so that they come beyond the first check.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

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

from system.api_shop import Api, api_shop
from system.web_shop import PEOPLE

pytestmark = pytest.mark.xdist_group("api")
EXAMPLES = 12
CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_schema_conformance,
]
LAST = ("/api/people", "/api/password", "/api/session")
"""What changes who may come in is asked last, what ends a session at the very end."""


@pytest.fixture(scope="module")
def api(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Api]:
    """Serve a small workshop."""
    with api_shop(tmp_path_factory.mktemp("api")) as opened:
        yield opened


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
