"""Batches on pages and by the API: opened, taken in, judged, reworked, ended, certified."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest

from host.web.conftest import Browser
from host.workshop.papers_fixtures import CONDITIONAL, FAIL, PASS
from host.workshop.raw_shop import BATCH
from proofbath.store.kinds import Batch, Decision, Intake, Order, Rework, Unit
from proofbath.workshop.shop import Shop

Open = Callable[..., Browser]
HOSTILE = "<img src=x onerror=alert(1)> & 'co\""
TYPE = """
[unit_type]
name = "Wigeon-90"
nominal_start_to_open_c = 90.0
full_open_c = 103.0
full_lift_mm = 6.0
cap_c = 105.0

[specification]
unit_type = "Wigeon-90"
version = {version}

[[specification.limit]]
quantity = "start_to_open_c"
nominal = 90.0
tolerance = {tolerance}
threshold_mm = 0.1
"""


def number(shop: Shop, name: str = BATCH) -> int:
    """Return a batch's number."""
    return shop.records.find(Batch, name=name).root


def test_a_batch_is_opened_filled_by_a_list_and_planned(open_browser: Open, shop: Shop) -> None:
    browser = open_browser("operator")
    form = {
        "name": "ferry 13",
        "type_name": "Teal-82",
        "customer": HOSTILE,
        "address": "Pier 2\nNess",
    }
    opened = browser.post("/batches", form)
    assert opened.status_code == 303, opened.text
    entry = shop.records.find(Batch, name="ferry 13").entry
    assert (entry.customer, entry.customer_address) == (HOSTILE, ("Pier 2", "Ness"))
    at = f"/batches/{number(shop, 'ferry 13')}"
    units = b"serial,seal,remark\nT82-0301,bad,new seal\nT82-0302,good,\n"
    files = {"units": ("units.csv", units, "text/csv")}
    assert browser.post(f"{at}/list", files=files).status_code == 303
    page = browser.get(at)
    assert "<img src=x" not in page.text
    assert "Plan the as-found night (2 due)" in page.text
    assert "<img src=x" not in browser.get("/batches").text
    link = re.search(r'href="(/night\?[^"]+)"', page.text)
    assert link
    night = browser.get(link[1].replace("&amp;", "&"))
    assert "T82-0301" in night.text


def test_all_faults_of_a_list_are_told_and_none_is_taken(open_browser: Open, shop: Shop) -> None:
    files = {"units": ("units.csv", b"serial,seal\nA B,good\nT82-0303,rotten\n", "text/csv")}
    answer = open_browser("operator").post(f"/batches/{number(shop)}/list", files=files)
    assert answer.status_code == 422
    assert "rotten" in answer.text
    assert not shop.records.current(Unit, serial="T82-0303")


def test_what_was_not_looked_at_is_not_called_good(open_browser: Open, shop: Shop) -> None:
    browser = open_browser("operator")
    browser.post("/batches", {"name": "b", "type_name": "Teal-82", "customer": "Ness"})
    at = f"/batches/{number(shop, 'b')}/intake"
    assert browser.post(at, {"serial": "T82-1", "new": "true", "spring": "good"}).status_code == 303
    form = {"serial": "T82-2", "new": "true", "all_good": "true", "seal": "bad", "remark": "renew"}
    assert browser.post(at, form).status_code == 303
    first, second = (kept.entry.findings for kept in shop.records.current(Intake)[-2:])
    assert (first.spring, first.cracks) == ("good", "not looked at")
    assert (second.seal, second.cracks) == ("bad", "good")
    page = browser.get(at).text
    assert page.count('<option value="not looked at" selected>') == 7


def test_an_intake_is_corrected_from_what_is_on_record(open_browser: Open, shop: Shop) -> None:
    browser, at = open_browser("operator"), f"/batches/{number(shop)}/intake"
    page = browser.get(at, params={"correct": PASS[0]}).text
    fieldset = page.split("<fieldset>")[1]
    chosen = re.findall(r'<(?:select|input)[^>]* name="(\w+)"', fieldset)
    assert {*chosen} == {
        *("identity", "corrosion", "spring", "cracks", "wax_seep", "vent_pin", "seal", "all_good")
    }
    assert '<option value="doubtful" selected>' in fieldset
    assert 'value="seal to be renewed"' in page
    form = {"serial": PASS[0], "seal": "good", "correcting": "yes", "correction": "seal was good"}
    assert browser.post(at, form).status_code == 303
    kept = next(k for k in shop.records.current(Intake) if k.reason)
    assert (kept.reason, kept.entry.findings.seal) == ("seal was good", "good")


@pytest.mark.parametrize(
    ("form", "fault"),
    [
        ({"serial": "T82-0999"}, "is not on record"),
        ({"serial": "T82-0101", "new": "true"}, "is on record already"),
        ({"serial": "T82-0101"}, "taken in already"),
        ({"serial": "T82-7", "new": "true", "accepted": "no"}, "a refused unit needs the reason"),
        ({"serial": "T82-7", "new": "true", "seal": "broken"}, "seal"),
        ({"serial": "T82-7", "new": "true", "heater_ohm": "12"}, "has no heater"),
        ({"serial": "T82-7", "new": "true", "heater_ohm": "twelve"}, "is no number"),
    ],
)
def test_an_intake_is_refused_whole(
    open_browser: Open, shop: Shop, form: dict[str, str], fault: str
) -> None:
    before = len(shop.records.current(Intake))
    answer = open_browser("operator").post(f"/batches/{number(shop)}/intake", form)
    assert (answer.status_code, fault in answer.text) == (422, True), answer.text
    assert len(shop.records.current(Intake)) == before
    assert not shop.records.current(Unit, serial="T82-7")


def test_the_batch_page_says_who_passed_and_why_not(open_browser: Open, shop: Shop) -> None:
    browser = open_browser("viewer")
    told = browser.get(f"/api/batches/{number(shop)}").json()
    units = {unit["serial"]: unit for unit in told["units"]}
    assert {units[serial]["outcome"] for serial in PASS} == {"pass"}
    assert (units[FAIL]["outcome"], units[CONDITIONAL]["outcome"]) == ("fail", "conditional pass")
    page = browser.get(f"/batches/{number(shop)}").text
    for unit in units.values():
        assert unit["serial"] in page
    assert "2 passed, not certified yet" in page
    assert "needs the customer&#39;s recorded agreement" in page
    assert "Certify what may be certified" not in page


def test_rework_is_put_on_record_beside_its_advice(open_browser: Open, shop: Shop) -> None:
    browser = open_browser("operator")
    at = f"/batches/{number(shop)}/rework"
    page = browser.get(at).text
    assert "does not say how it can be reworked" in page
    assert "hot wax and oil burn" in page
    form = {"serial": FAIL, "kind": "setting", "amount": "+0,4", "text": "screw turned"}
    assert browser.post(at, form).status_code == 303
    assert shop.records.current(Rework)[-1].entry.amount == 0.4
    wrong = {**form, "amount": "0.6", "correction": "misread"}
    assert browser.post(at, wrong).headers["location"].endswith("said=corrected")
    assert [k.entry.amount for k in shop.records.current(Rework)].count(0.4) == 0
    assert shop.records.current(Rework)[-1].entry.amount == 0.6
    refused = browser.post(at, {**form, "kind": "wax", "amount": ""})
    assert (refused.status_code, "screw turned" in refused.text) == (422, True)


def test_a_person_fails_a_unit_and_a_customer_agrees(open_browser: Open, shop: Shop) -> None:
    browser, at = open_browser("operator"), f"/batches/{number(shop)}"
    assert browser.post(f"{at}/fail", {"serial": FAIL, "reason": "leaks"}).status_code == 303
    assert shop.records.current(Decision)[-1].entry.content["reason"] == "leaks"
    agreed = {"serial": CONDITIONAL, "customer": "J. Ness", "record": "mail of 5 April"}
    assert browser.post(f"{at}/agree", agreed).status_code == 303
    assert browser.post(f"{at}/agree", {**agreed, "serial": PASS[0]}).status_code == 422
    page = browser.get(at).text
    assert "failed by a person" in page


def test_a_type_is_uploaded_and_rises_in_version(open_browser: Open, shop: Shop) -> None:
    browser = open_browser("certifier")
    for version, tolerance, status in ((1, 2.0, 303), (1, 1.5, 422), (2, 1.5, 303)):
        text = TYPE.format(version=version, tolerance=tolerance)
        files = {"type": ("wigeon_90.toml", text.encode(), "application/toml")}
        assert browser.post("/batches/types", files=files).status_code == status
    page = browser.get("/batches/types/one", params={"name": "Wigeon-90", "wanted_c": "87,5"}).text
    assert "Type Wigeon-90, version 2" in page
    assert "87.5 °C in the engine" in page
    assert (
        browser.get("/batches/types/one", params={"name": "Teal-82", "wanted_c": "hot"}).status_code
        == 422
    )
    assert browser.get("/batches/types/one", params={"name": "none"}).status_code == 404
    assert "4 units as left" in browser.get("/batches/types/one", params={"name": "Teal-82"}).text


def test_statistics_of_a_batch_stand_as_the_api_tells_them(open_browser: Open, shop: Shop) -> None:
    browser, at = open_browser("viewer"), number(shop)
    (start, *_) = browser.get(f"/api/batches/{at}/statistics").json()
    assert start["as_found"]["mean"] - start["as_left"]["mean"] == pytest.approx(3.0, abs=0.05)
    assert f"{start['as_left']['mean']:.3f}" in browser.get(f"/batches/{at}/statistics").text


@pytest.mark.parametrize(
    "path", ["/batches/999", "/batches/999/intake", "/batches/999/rework", "/batches/1/runs/9.svg"]
)
def test_what_is_not_there_is_not_found(open_browser: Open, path: str) -> None:
    assert open_browser("viewer").get(path).status_code == 404


def test_an_order_is_put_by_page_shown_and_corrected(open_browser: Open, shop: Shop) -> None:
    browser, at = open_browser("operator"), f"/batches/{number(shop)}"
    form = {"wanted_c": "89,5", "text": HOSTILE}
    assert browser.post(f"{at}/order", form).status_code == 303
    (kept,) = shop.records.current(Order)
    assert (kept.entry.unit_id, kept.entry.ordered.wanted_c) == (None, 89.5)
    assert (kept.entry.ordered.lift_mm, kept.entry.ordered.tolerance_k) == (2.0, 2.0)
    page = browser.get(at).text
    assert "Ordered: 2 mm open at 89.5 ± 2 °C" in page
    assert "marked, not judged by: Start-to-open" in page
    assert "From ordered, K" in page
    assert "<img src=x" not in page
    own = {"wanted_c": "92", "lift_mm": "4", "tolerance_k": "1.5", "serial": CONDITIONAL}
    assert browser.post(f"{at}/order", own).status_code == 303
    assert f"{CONDITIONAL} ordered: 4 mm open at 92 ± 1.5 °C" in browser.get(at).text
    again = {"wanted_c": "88", "correction": "mistyped"}
    assert browser.post(f"{at}/order", again).status_code == 303
    first = shop.records.current(Order)[0]
    assert (first.reason, first.entry.ordered.wanted_c) == ("mistyped", 88.0)


@pytest.mark.parametrize(
    ("form", "fault"),
    [
        ({}, "give either a temperature, or what the engine shall run at"),
        ({"wanted_c": "hot"}, "is no number"),
        ({"wanted_c": "80", "lift_mm": "2.2"}, "2.2 mm is not stated by a measurement"),
        ({"engine_c": "98"}, "boils at 98.31 °C"),
    ],
)
def test_an_order_that_is_refused_is_told_and_what_was_typed_stays(
    open_browser: Open, shop: Shop, form: dict[str, str], fault: str
) -> None:
    """The bench stands at 500 m, where water boils at 98.3 °C (ISO 2533, IAPWS-IF97)."""
    answer = open_browser("operator").post(f"/batches/{number(shop)}/order", form)
    assert answer.status_code == 422
    assert fault in answer.text
    assert shop.records.current(Order) == []
