"""The API: it does what the pages do, says what it is, and refuses in lines."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest

from host.web.conftest import Browser
from host.workshop.papers_fixtures import CONDITIONAL, FAIL, PASS
from host.workshop.raw_shop import LEFT_ON, REFERENCE, begin_batch
from proofbath.store.kinds import Action, Certificate
from proofbath.web.api_page import METHODS
from proofbath.workshop.shop import Shop

Open = Callable[..., Browser]


def test_a_batch_goes_its_whole_way_by_the_api(open_browser: Open, shop: Shop) -> None:
    operator, certifier = open_browser("operator"), open_browser("certifier")
    new = {"name": "ferry 13", "type": "Teal-82", "customer": "Ness", "address": ["Pier 2"]}
    number = operator.send("POST", "/api/batches", new).json()["number"]
    at = f"/api/batches/{number}"
    intake = {"serial": "T82-0301", "new": True, "findings": {"seal": "good"}}
    assert operator.send("POST", f"{at}/intakes", intake).status_code == 201
    listed = {"csv": "serial\nT82-0302\nT82-0303\n"}
    assert len(operator.send("POST", f"{at}/unit-list", listed).json()) == 2
    choice = {"bench": "quay", "batch": "ferry 13", "stage": "as-found"}
    night = operator.send("POST", "/api/night/plan", choice).json()
    serials = [place["serial"] for place in night["plan"]["station"]]
    assert serials == ["T82-0301", "T82-0302", "T82-0303", REFERENCE]
    assert {unit["next_step"] for unit in operator.get(at).json()["units"]} == {"measure as found"}

    agreed = {"serial": CONDITIONAL, "customer": "J. Ness", "record": "mail"}
    assert operator.send("POST", "/api/batches/1/agreements", agreed).status_code == 201
    failed = {"serial": FAIL, "reason": "leaks"}
    assert operator.send("POST", "/api/batches/1/failures", failed).status_code == 201
    units = certifier.send("POST", "/api/batches/1/certificates", {}).json()
    assert {unit["serial"] for unit in units if unit["number"]} == {*PASS, CONDITIONAL}
    summary = certifier.send("POST", "/api/batches/1/summary", {}).json()["number"]
    assert certifier.get(f"/api/documents/{summary}.pdf").content[:5] == b"%PDF-"
    labels = operator.send("POST", "/api/batches/1/labels").json()["number"]
    assert operator.get(f"/api/documents/{labels}.pdf").status_code == 200
    first = shop.records.current(Certificate)[0].entry.number
    gone = certifier.send("POST", f"/api/certificates/{first}/withdrawal", {"reason": "leaks"})
    assert gone.status_code == 201


def test_a_returned_unit_is_compared(open_browser: Open, shop: Shop) -> None:
    refused = open_browser("certifier").send("POST", f"/api/units/{PASS[0]}/comparison", {})
    assert (refused.status_code, "nothing then" in refused.text) == (422, True)


def test_heat_is_refused_without_the_cautions(open_browser: Open, shop: Shop) -> None:
    begin_batch(shop, "ferry 13", ["T82-0201"], LEFT_ON)
    browser = open_browser("operator")
    choice = {"bench": "quay", "batch": "ferry 13", "stage": "as-found"}
    plan = browser.send("POST", "/api/night/plan", choice).json()["plan"]
    start = {"bench": "quay", "plan": plan, "cautions_read": False}
    refused = browser.send("POST", "/api/night/start", start)
    assert (refused.status_code, "cautions" in refused.text) == (422, True)
    assert open_browser("administrator").send("POST", "/api/night/start", start).status_code == 403
    assert not (shop.nights / "plan.toml").exists()
    assert not [k for k in shop.records.current(Action) if k.entry.what.startswith("start of")]


def test_a_bench_is_taken_handed_over_and_left(open_browser: Open) -> None:
    one, chief, name = open_browser("operator"), open_browser("administrator"), {"name": "quay"}
    path = "/api/bench/holder"
    assert one.send("POST", path, {"act": "take"}, params=name).status_code == 200
    wrong = one.send("POST", path, {"act": "hand over", "to": "viewer"}, params=name)
    assert (wrong.status_code, "no active operator" in wrong.text) == (422, True)
    taken = chief.send("POST", path, {"act": "take"}, params=name).json()["happened"]
    assert "as administrator" in taken
    state = chief.get("/api/bench", params=name).json()["state"]
    assert state["holder"]["person"] == "administrator"
    assert one.send("POST", path, {"act": "leave"}, params=name).status_code == 422
    assert one.send("POST", "/api/bench/act", {"act": "pause"}, params=name).status_code == 422


def test_anybody_signed_in_stops(open_browser: Open) -> None:
    told = open_browser("viewer").send("POST", "/api/bench/stop", {})
    assert told.json() == {"stopped": [], "faults": []}, "no run, nothing to stop, no fault"
    wrong = open_browser("viewer").send("POST", "/api/bench/stop", {"bench": "<b>"})
    assert wrong.status_code == 404


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/api/units/none", 404),
        ("/api/units/none/advice", 404),
        ("/api/units/T82-0101/advice", 422),
        ("/api/batches/99", 404),
        ("/api/batches/99999999999999999999", 422),
        ("/api/certificates/none", 404),
        ("/api/documents/none.pdf", 404),
        ("/api/type?name=none", 404),
        ("/api/type/target?name=Teal-82&wanted_c=300", 422),
        ("/api/units?batch=none", 422),
        ("/api/bench?name=none", 404),
    ],
)
def test_a_refusal_is_told_in_lines(open_browser: Open, path: str, status: int) -> None:
    answer = open_browser("viewer").get(path)
    assert answer.status_code == status
    (*faults,) = answer.json()["faults"]
    assert faults
    assert all(isinstance(line, str) and "\n" not in line for line in faults)


def described(browser: Browser) -> dict[str, Any]:
    """Return the API's description."""
    told: dict[str, Any] = browser.get("/api/openapi.json").json()
    return told


def test_every_route_says_what_it_does_and_answers(open_browser: Open) -> None:
    for path, methods in described(open_browser("viewer"))["paths"].items():
        for method, told in methods.items():
            assert told["description"].strip(), (method, path)
            good = [code for code in told["responses"] if code.startswith("2")]
            assert good, (method, path)


def test_the_reference_page_holds_every_route_and_shape(open_browser: Open) -> None:
    browser = open_browser("viewer")
    page, api = browser.get("/api").text, described(browser)
    for path, methods in api["paths"].items():
        assert f"<code>{path}</code>" in page
        assert {*methods} <= {*METHODS}
    for name in api["components"]["schemas"]:
        assert f'id="shape-{name}"' in page
    assert not re.search(r"<script|https?://(?!.*localhost)", page.split("</head>")[1])


def test_an_order_by_the_api_is_judged_by(open_browser: Open, shop: Shop) -> None:
    browser = open_browser("operator")
    said = {"wanted_c": 89.5, "text": "order 4711"}
    put = browser.send("POST", "/api/batches/1/orders", said)
    assert put.status_code == 201, put.text
    batch = browser.get("/api/batches/1").json()
    assert batch["order"] == "2 mm open at 89.5 ± 2 °C; order 4711"
    outcomes = {unit["serial"]: unit["outcome"] for unit in batch["units"]}
    assert outcomes[FAIL] == "pass", "its marking fails it"
    ordered = {unit["serial"]: unit["ordered"] for unit in batch["units"]}
    assert ordered[FAIL]["value"] == pytest.approx(89.0, abs=0.25)
    both = browser.send("POST", "/api/batches/1/orders", said | {"engine_c": 90})
    assert (both.status_code, "give either" in both.text) == (422, True)
