"""Markup and SQL in every text of the API: it is refused, or kept as it is and shown as text."""

from __future__ import annotations

import copy
import html
import re
from collections.abc import Iterator
from typing import Any
from urllib.parse import quote

import pytest
import requests

from host.workshop.ferry_shop import BATCH, QUAY, REFERENCE
from system.api_shop import SERIALS, Api, api_shop, sign_in
from system.web_shop import EVERYBODY, LEAKY, PASSWORD

pytestmark = pytest.mark.xdist_group("api")
EVIL = "<img src=x onerror=\"alert('1')\">'; DROP TABLE person; --"
STRANGE = ("\0", "\ud7ff￾", "../../etc", "' OR '1'='1", "{{7*7}}", "%00%0d%0aX: 1")
DAY = "2026-03-02"
PLAN = {
    "batch": BATCH,
    "unit_type": {
        "name": "Teal-82",
        "nominal_start_to_open_c": 82,
        "full_open_c": 95,
        "full_lift_mm": 8,
        "cap_c": 103,
    },
    "station": [{"station": 1, "serial": SERIALS[0]}],
    "profile": "plain-as-left",
}
PERSON = "2"
"""Number of the operator on record."""


def bodies(api: Api) -> dict[tuple[str, str], dict[str, Any]]:
    """Return a body with every text for each operation that takes one."""
    number, *papers = api.known["number"]
    batch, signing = f"/api/batches/{number}", {"passphrase": "none"}
    withdrawn, replaced = (f"/api/certificates/{paper}" for paper in papers)
    return {
        ("POST", "/api/people"): {"name": "Jo Wren", "password": "ten letters", "rights": []},
        ("PUT", f"/api/people/{PERSON}/password"): {"password": PASSWORD},
        ("PUT", f"/api/people/{PERSON}/rights"): {"rights": ["operator"]},
        ("PUT", "/api/password"): {"old": "another one", "new": "yet another one"},
        ("POST", "/api/units"): {
            "serial": "T-1",
            "unit_type": "Teal-82",
            "description": "brass",
            "customer_mark": "port side",
            "supplier_lot": "lot 4",
        },
        ("PUT", f"/api/units/{REFERENCE}/reference"): {"since": DAY, "text": "sealed"},
        ("POST", f"/api/units/{SERIALS[0]}/service"): {
            "csv": "t_s,inlet_c\n0,40\n1,41\n",
            "file": "log.csv",
            "fitted": DAY,
            "logged": DAY,
            "engine": "port auxiliary",
            "time_column": "t_s",
            "temperature_column": "inlet_c",
        },
        ("POST", f"/api/units/{SERIALS[0]}/comparison"): signing,
        ("POST", "/api/types"): {"toml": "[unit_type]\nname = 'Teal-82'\n"},
        ("POST", "/api/batches"): {
            "name": "quay 7",
            "type": "Teal-82",
            "customer": "Ness River Ferries",
            "address": ["Pier House", "Upper Ness"],
            "contact": "stores",
            "received": DAY,
        },
        ("POST", f"{batch}/intakes"): {
            "serial": "T-2",
            "cause": "rework",
            "remark": "seal to be renewed",
            "new": True,
            "correction": "",
        },
        ("POST", f"{batch}/unit-list"): {"csv": "serial,remark\nT-3,worn\n"},
        ("POST", f"{batch}/orders"): {
            "wanted_c": 80.0,
            "serial": SERIALS[1],
            "text": "by letter",
            "correction": "read anew",
        },
        ("POST", f"{batch}/reworks"): {
            "serial": SERIALS[1],
            "kind": "element",
            "act": {
                "mass_in_mg": 2.0,
                "source": "clean wax",
                "donor_type": "Teal-82",
                "sealed_by": "new lip",
            },
            "text": "opened and closed",
            "supplier_lot": "lot 4",
            "date": DAY,
            "correction": "",
        },
        ("POST", f"{batch}/reworks/cancelled"): {"serial": SERIALS[1], "why": "typed twice"},
        ("POST", f"{batch}/failures"): {"serial": SERIALS[1], "reason": "stuck"},
        ("POST", f"{batch}/agreements"): {
            "serial": SERIALS[0],
            "customer": "H. Moss",
            "record": "letter of today",
        },
        ("POST", f"{batch}/certificates"): signing,
        ("POST", f"{batch}/summary"): signing,
        ("POST", f"{withdrawn}/withdrawal"): {
            "reason": "wrong unit",
            "what_to_do": "send it back",
            "passphrase": None,
        },
        ("POST", f"{replaced}/replacement"): {
            "reason": "wrong address",
            "changes": "the address",
            "passphrase": None,
        },
        ("POST", "/api/keys"): signing,
        ("POST", "/api/bench/stop"): {"bench": QUAY},
        ("POST", f"/api/bench/act?name={QUAY}"): {"act": "pause"},
        ("POST", f"/api/bench/holder?name={QUAY}"): {"act": "hand over", "to": "M. Tarn"},
        ("POST", "/api/night/plan"): {
            "bench": QUAY,
            "batch": BATCH,
            "stage": "as-left",
            "serials": [SERIALS[0]],
            "profile": "plain-as-left",
            "ready_by": "07:00",
            "cold_by": "08:00",
        },
        ("POST", "/api/night/check"): {"bench": LEAKY, "plan": PLAN},
        ("POST", "/api/night/start"): {
            "bench": LEAKY,
            "plan": PLAN,
            "cautions_read": True,
            "loaded": "by me",
            "code": "0000",
        },
        ("POST", f"/api/calibration/touched?name={QUAY}"): {
            "what": "probe",
            "date": DAY,
            "text": "moved",
        },
        ("POST", "/api/charts/causes"): {"run": 1, "chart": "reference", "cause": "lid was off"},
    }


@pytest.fixture(scope="module")
def api(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Api]:
    """Serve a small workshop."""
    with api_shop(tmp_path_factory.mktemp("text")) as opened:
        yield opened


@pytest.fixture(scope="module")
def master(api: Api) -> Iterator[requests.Session]:
    """Sign in with every right."""
    with requests.Session() as session:
        sign_in(session, api.served.address, EVERYBODY)
        yield session


def test_markup_and_sql_are_refused_or_kept_and_shown_as_text(
    api: Api, master: requests.Session
) -> None:
    address = api.served.address
    before = [one["name"] for one in master.get(f"{address}/api/people").json()]
    accepted = []
    for (method, path), body in bodies(api).items():
        for changed in each_text_replaced(body, EVIL):
            answer = master.request(method, address + path, json=changed)
            assert answer.status_code < 500, (method, path, changed, answer.text)
            accepted += [f"{method} {path}"] * answer.ok
        for text in STRANGE:
            for changed in each_text_replaced(body, text):
                answer = master.request(method, address + path, json=changed)
                assert answer.status_code < 500, (method, path, changed, answer.text)
    assert len(accepted) >= 12, accepted
    after = [one["name"] for one in master.get(f"{address}/api/people").json()]
    assert {*before, EVIL} <= {*after}
    pages = walked(master, address)
    assert len(pages) > 30
    assert [path for path, text in pages.items() if EVIL in text or "<img src=x" in text] == []
    shown = {path for path, text in pages.items() if EVIL in html.unescape(text)}
    assert {"/settings/people", "/batches"} <= shown


def test_strange_names_in_an_address_are_not_found(api: Api, master: requests.Session) -> None:
    paths = master.get(f"{api.served.address}/api/openapi.json").json()["paths"]
    for path, operations in paths.items():
        if "get" in operations:
            for text in (EVIL, *STRANGE):
                asked = re.sub(r"{[^}]*}", quote(text, safe="", errors="replace"), path)
                answer = master.get(
                    f"{api.served.address}{asked}", params={"name": text, "search": text}
                )
                assert answer.status_code < 500, (path, text, answer.text)


def test_every_operation_that_takes_text_is_asked(api: Api, master: requests.Session) -> None:
    described = master.get(f"{api.served.address}/api/openapi.json").json()
    asked = {(method, path.partition("?")[0]): body for (method, path), body in bodies(api).items()}
    for path, operations in described["paths"].items():
        for method, operation in operations.items():
            content = operation.get("requestBody", {}).get("content", {})
            if "application/json" not in content or path == "/api/session":
                continue
            pattern = re.compile(re.sub(r"{[^}]*}", "[^/]+", path))
            known = [
                b for (m, p), b in asked.items() if m == method.upper() and pattern.fullmatch(p)
            ]
            assert known, (method, path)
            name = content["application/json"]["schema"]["$ref"].rpartition("/")[2]
            assert texts(described["components"]["schemas"][name]) <= known[0].keys(), path


def texts(schema: dict[str, Any]) -> set[str]:
    """Return which fields of an object may hold a text."""
    found = set()
    for name, field in schema["properties"].items():
        kinds = field.get("anyOf", [field])
        if any(kind.get("type") == "string" and "enum" not in kind for kind in kinds):
            found.add(name)
    return found


def each_text_replaced(value: Any, text: str) -> Iterator[Any]:
    """Yield a copy of a JSON value for each of its texts, that one replaced."""
    inner = value.items() if isinstance(value, dict) else enumerate(value)
    for key, part in inner:
        if isinstance(part, str) or part is None:
            yield _with(value, key, text)
        elif isinstance(part, dict | list):
            for changed in each_text_replaced(part, text):
                yield _with(value, key, changed)


def _with(value: Any, key: Any, part: Any) -> Any:
    changed = copy.copy(value)
    changed[key] = part
    return changed


def walked(session: requests.Session, address: str) -> dict[str, str]:
    """Return the text of every page that links lead to."""
    found: dict[str, str] = {}
    waiting = ["/"]
    while waiting:
        path = waiting.pop()
        if path in found:
            continue
        answer = session.get(address + path)
        assert answer.status_code < 500, path
        if answer.headers["content-type"].startswith("text/html"):
            found[path] = answer.text
            links = re.findall(r'href="(/[^"#]*)', answer.text)
            waiting += [html.unescape(link) for link in links if "/static/" not in link]
    return found
