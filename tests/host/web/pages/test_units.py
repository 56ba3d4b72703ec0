"""Units on pages and by the API: found, told whole, drawn, logged; never their own HTML."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET
from collections.abc import Callable

import pytest

from host.web.conftest import ORIGIN, Browser
from host.workshop.papers_fixtures import PASS
from host.workshop.raw_shop import BATCH, LEFT_ON, REFERENCE, RawUnit, begin_batch, raw_night
from proofbath.store.kinds import ServiceLog, Unit
from proofbath.workshop.shop import Shop

Open = Callable[..., Browser]
HOSTILE = "<script>alert('x')</script>\"'; DROP TABLE unit;--"
LOG = "t_s,coolant_c\n" + "".join(f"{t},{min(87.0, 20 + t / 20):.2f}\n" for t in range(0, 4000, 10))


def test_units_are_found_by_serial_or_mark(open_browser: Open, shop: Shop) -> None:
    browser = open_browser("operator")
    form = {"serial": "T82-9999", "unit_type": "Teal-82", "customer_mark": "port engine"}
    assert browser.post("/units", form).headers["location"] == "/units/T82-9999?said=added"
    for asked in ("9999", "PORT"):
        page = browser.get("/units", params={"search": asked}).text
        assert "T82-9999" in page
        assert "T82-0101" not in page
    found = browser.get("/api/units", params={"batch": BATCH}).json()
    assert [unit["serial"] for unit in found] == ["T82-0101", "T82-0102", "T82-0103", "T82-0104"]


@pytest.mark.parametrize("path", ["/units", "/batches/certificates", "/batches/types"])
def test_what_is_typed_is_never_run(open_browser: Open, path: str) -> None:
    browser = open_browser("viewer")
    page = browser.get(path, params={"search": HOSTILE, "type": HOSTILE, "batch": HOSTILE})
    assert page.status_code == 200
    assert "<script>alert" not in page.text


def test_hostile_text_is_kept_and_shown_as_text(open_browser: Open, shop: Shop) -> None:
    browser = open_browser("operator")
    named = dict.fromkeys(("description", "customer_mark", "supplier_lot"), HOSTILE)
    assert (
        browser.post("/units", {"serial": "X-1", "unit_type": "Teal-82", **named}).status_code
        == 303
    )
    assert shop.records.find(Unit, serial="X-1").entry.description == HOSTILE
    for path in ("/units", "/units/X-1"):
        page = browser.get(path).text
        assert "<script>alert" not in page
        assert "DROP TABLE unit" in page


def test_a_refused_form_stands_again_with_its_faults(open_browser: Open) -> None:
    browser = open_browser("operator")
    form = {"serial": "T82-0101", "unit_type": "Teal-82", "description": "twice & <b>"}
    answer = browser.post("/units", form)
    assert answer.status_code == 422
    assert "is on record already" in answer.text
    assert 'value="twice &amp; &lt;b&gt;"' in answer.text


def test_a_history_is_the_same_on_page_and_api(open_browser: Open) -> None:
    browser = open_browser("viewer")
    told = browser.get("/api/units/T82-0101").json()
    (visit,) = told["batches"]
    assert [step["stage"] for step in visit["steps"]] == ["as-found", "rework", "as-left"]
    found, left = (
        next(v["value"] for v in step["results"] if v["quantity"] == "start_to_open_c")
        for step in (visit["steps"][0], visit["steps"][2])
    )
    assert found - left == pytest.approx(3.0, abs=0.05), "the rework made it 3 K colder"
    page = browser.get("/units/T82-0101").text
    assert f"{left:.2f} ±" in page
    assert "setting +1.2 mm" in page


def test_curves_are_pictures_kept_for_who_is_signed_in(open_browser: Open) -> None:
    browser = open_browser("viewer")
    for path in ("/units/T82-0101/curves.svg", "/units/T82-0101/runs/2.svg"):
        picture = browser.get(path)
        assert picture.headers["content-type"] == "image/svg+xml"
        assert ET.fromstring(picture.content).tag.endswith("svg")
        assert picture.headers["cache-control"] == "private, no-cache"
        same = browser.get(path, headers={"If-None-Match": picture.headers["etag"]})
        assert (same.status_code, same.content) == (304, b"")
        assert open_browser(None).get(path).status_code == 303
    assert browser.get("/units/T82-0101/runs/99.svg").status_code == 404
    assert browser.get("/units/T82-9/curves.svg").status_code == 404


def test_a_log_is_uploaded_and_told(open_browser: Open, shop: Shop) -> None:
    browser = open_browser("operator")
    form = {"engine": "Kittiwake, port", "fitted": "2025-04-04"}
    files = {"log": ("drive.csv", LOG.encode(), "text/csv")}
    answer = browser.post("/units/T82-0101/service", form, files=files)
    assert answer.status_code == 303, answer.text
    assert shop.records.current(ServiceLog)[0].entry.content["file"] == "drive.csv"
    told = browser.get("/api/units/T82-0101/service").json()
    assert told["logs"][0]["regulated_c"] == pytest.approx(87.0, abs=0.1)
    assert "regulates at 87.0 °C" in browser.get("/units/T82-0101").text
    twice = browser.post("/units/T82-0101/service", form, files=files)
    assert (twice.status_code, "on record already" in twice.text) == (422, True)


def test_a_log_is_asked_about_and_told_by_the_form(open_browser: Open, shop: Shop) -> None:
    browser = open_browser("operator")
    rows = "".join(f"03/04/2025 {8 + n // 60}:{n % 60:02};{70};{188}\n" for n in range(90))
    files = {"log": ("ui.csv", ("Time;ECT in;ECT out\n" + rows).encode(), "text/csv")}
    form = {"engine": "Kittiwake", "fitted": "2025-04-03", "temperature_column": "ECT out"}
    asked = browser.post("/units/T82-0101/service", form, files=files)
    assert (asked.status_code, "state the day order" in asked.text) == (422, True)
    assert 'value="ECT out"' in asked.text
    form |= {"day_order": "day-month", "degrees": "°F", "time_unit": "as the file says"}
    answer = browser.post("/units/T82-0101/service", form, files=files)
    assert answer.status_code == 303, answer.text
    page = browser.get("/units/T82-0101", params={"wanted_c": "83.5"}).text
    assert "regulates at 86.7 °C" in page
    assert "runs 3.2 K above the 83.5 °C wanted" in page
    assert "is no number" in browser.get("/units/T82-0101", params={"wanted_c": "warm"}).text
    odd = browser.post("/units/T82-0101/service", form | {"day_order": "never"}, files=files)
    assert (odd.status_code, "choose from the list" in odd.text) == (422, True)


def test_the_api_takes_picks_and_says_what_to_do_next(open_browser: Open) -> None:
    browser = open_browser("operator")
    rise = [114.0 - 99.0 * math.exp(-n / 12) for n in range(60)]
    body = {
        "csv": "a;b\n" + "".join(f"{n};{c * 1.8 + 32:.1f}\n" for n, c in enumerate(rise)),
        "file": "hot.csv",
        "fitted": "2025-04-03",
        "engine": "Kittiwake",
        "time_column": "a",
        "temperature_column": "2",
        "fahrenheit": True,
        "time_unit": "min",
    }
    answer = browser.send("POST", "/api/units/T82-0101/service", json=body)
    assert answer.status_code == 201, answer.text
    told = answer.json()
    assert (told["logs"][0]["state"], told["logs"][0]["regulated_c"]) == ("stuck shut", None)
    assert told["next"]["act"] == "stop the engine"
    assert told["next"]["change"] is None


@pytest.mark.parametrize("data", [b"", b"\xff\xfe\x00", b"t_s;heat\n1;2\n"])
def test_what_is_no_log_is_refused(open_browser: Open, data: bytes) -> None:
    form = {"engine": "Kittiwake", "fitted": "2025-04-04"}
    files = {"log": ("x.csv", data, "text/csv")}
    assert (
        open_browser("operator").post("/units/T82-0101/service", form, files=files).status_code
        == 422
    )


def test_a_reference_unit_is_named_and_retired(open_browser: Open) -> None:
    browser = open_browser("operator")
    assert browser.post(f"/units/{REFERENCE}/reference", {"text": "drawer"}).status_code == 303
    told = browser.get(f"/api/units/{REFERENCE}").json()["reference"]
    assert [word["in_use"] for word in told] == [True, False]


def test_a_viewer_changes_nothing(open_browser: Open) -> None:
    browser = open_browser("viewer")
    assert browser.post("/units", {"serial": "X-2", "unit_type": "Teal-82"}).status_code == 403
    page = browser.get("/units/T82-0101").text
    assert page.count('method="post"') == 2, "signing out and stopping, no form more"


def test_a_form_of_another_site_is_refused(open_browser: Open) -> None:
    browser = open_browser("operator")
    form = {"serial": "X-3", "unit_type": "Teal-82", "token": browser.token}
    answer = browser.ask("POST", "/units", data=form, headers={"Origin": "https://evil.example"})
    assert answer.status_code == 403
    form["token"] = "0" * 64
    assert browser.ask("POST", "/units", data=form, headers={"Origin": ORIGIN}).status_code == 403


def test_a_returned_unit_is_compared_with_how_it_left(open_browser: Open, shop: Shop) -> None:
    begin_batch(shop, "ferry 14", [PASS[0]], LEFT_ON, "returned")
    units = [RawUnit(1, PASS[0], 82.6), RawUnit(6, REFERENCE, 82.1)]
    raw_night(shop, "ferry 14", "as-found", units, LEFT_ON)
    browser = open_browser("certifier")
    assert "Issue then and now" in browser.get(f"/units/{PASS[0]}").text
    assert browser.post(f"/units/{PASS[0]}/comparison").status_code == 303
    page = browser.get(f"/units/{PASS[0]}").text
    (number,) = re.findall(r"/batches/documents/([^.]+)\.pdf", page)
    assert browser.get(f"/batches/documents/{number}.pdf").content[:5] == b"%PDF-"
