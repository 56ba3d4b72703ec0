"""The Calibration page and its API: in force, touched, blocking; only a certifier says so."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from host.web.conftest import Browser
from proofbath.store.kinds import Handling
from proofbath.workshop.calibration_view import calibration_state
from proofbath.workshop.entry import day_of
from proofbath.workshop.shop import Shop

Open = Callable[..., Browser]
BENCH = {"name": "quay"}
FORM = {"bench": "quay", "what": "gauge", "station": "3", "text": "gauge <b>moved</b>"}


def test_all_that_is_in_force_is_listed_with_its_due_day(open_browser: Open) -> None:
    browser = open_browser("viewer")
    told = browser.get("/api/calibration", params=BENCH).json()
    kinds = [(line["kind"], line["station"]) for line in told["calibrations"]]
    gauges = [("gauge", n) for n in range(1, 7)]
    assert ("probe", 0) in kinds
    assert {*gauges} <= {*kinds}
    assert {line["state"] for line in told["calibrations"]} == {"in force"}
    page = browser.get("/calibration").text
    for line in told["calibrations"]:
        assert line["due"] in page
    assert "Something was touched" not in page


def test_what_was_touched_ends_its_calibration(open_browser: Open, shop: Shop) -> None:
    browser = open_browser("certifier")
    assert browser.post("/calibration/touched", FORM).status_code == 303
    told = browser.get("/api/calibration", params=BENCH).json()
    states = {(ln["kind"], ln["station"]): ln["state"] for ln in told["calibrations"]}
    assert states["gauge", 3] == "touched since"
    assert states["gauge", 4] == "in force"
    assert any("gauge of station 3" in line for line in told["blocking"])
    page = browser.get("/calibration").text
    assert "touched since" in page
    assert "<b>moved</b>" not in page


def test_past_its_day_it_is_overdue(shop: Shop) -> None:
    state = calibration_state(shop, "quay", day_of("2026-06-01"))
    assert {line.state for line in state.calibrations} == {"overdue"}
    assert any("was due" in line for line in state.blocking)


@pytest.mark.parametrize(
    "change", [{"what": "lid"}, {"station": "7"}, {"text": ""}, {"date": "soon"}]
)
def test_a_wrong_word_is_refused(open_browser: Open, shop: Shop, change: dict[str, str]) -> None:
    assert open_browser("certifier").post("/calibration/touched", FORM | change).status_code == 422
    assert not shop.records.current(Handling)


def test_an_unknown_bench_is_not_found(open_browser: Open) -> None:
    browser = open_browser("certifier")
    assert browser.get("/api/calibration", params={"name": "<b>"}).status_code == 404
    assert browser.post("/calibration/touched", FORM | {"bench": "x"}).status_code == 404
