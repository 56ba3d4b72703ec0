"""The Night page: planned from a batch, looked at, and started only when everything is said."""

from __future__ import annotations

import datetime as dt
import html
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from fastapi import FastAPI

from host.bench.nights import BENCH
from host.web.conftest import Browser
from host.web.live_shop import with_quay
from host.web.test_access_matrix import HEATS, doors
from proofbath.scenario.workshop import TEAL_82_TYPE
from proofbath.store.kinds import Action, Findings, Person, Unit
from proofbath.store.records import Stamp
from proofbath.web.live_hub import hub_in
from proofbath.workshop.intake import add_unit, open_batch, put_type, set_reference, take_in
from proofbath.workshop.presence import issue_code
from proofbath.workshop.serve_settings import ServeSettings
from proofbath.workshop.shop import Shop

Open = Callable[..., Browser]
AT, DAY = "2026-03-02T07:00:00+00:00", dt.date(2026, 3, 2)
REAL = BENCH.replace('name = "quay"', 'name = "quay"\nport = "/dev/not-plugged-in"')
PLANNED = "/night?bench=quay&batch=spring&stage=as-found"


@pytest.fixture
def settings() -> ServeSettings:
    """Return settings under which a virtual bench asks for no code, as `serve --virtual` does."""
    return ServeSettings(code_on_virtual_benches=False)


@pytest.fixture
def shop(shop: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Shop:
    """Return the workshop with its bench, a batch of one unit and a reference unit."""
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    shop = with_quay(shop, BENCH.replace("altitude_m = 500", "altitude_m = 0"))
    who = {p.entry.name: p.root for p in shop.records.current(Person)}
    certifier, operator = Stamp(AT, who["certifier"]), Stamp(AT, who["operator"])
    put_type(shop, TEAL_82_TYPE, certifier)
    for serial in ("A1", "REF"):
        add_unit(shop, Unit(serial=serial, unit_type="Teal-82"), operator)
    set_reference(shop, "REF", DAY, "sealed", certifier)
    open_batch(
        shop,
        "spring",
        "Ness Ferries",
        address=(),
        contact="",
        received=DAY,
        type_name="Teal-82",
        stamp=operator,
    )
    take_in(
        shop,
        "spring",
        "A1",
        cause="rework",
        findings=Findings(),
        accepted=True,
        remark="",
        stamp=operator,
    )
    return shop


@pytest.fixture
def app(app: FastAPI) -> FastAPI:
    """Return the application; however slow this computer is, it waits for what comes of a start."""
    hub_in(app.state).launcher.patience_s = 300.0
    return app


def plan_on(browser: Browser) -> dict[str, str]:
    """Return what the start form of the planned night sends along."""
    text = browser.get(PLANNED).text
    found = re.search(r'name="plan" value="([^"]*)"', text)
    assert found
    return {"bench": "quay", "plan": html.unescape(found[1])}


def test_the_preview_says_when_and_how_hot(open_browser: Open) -> None:
    text = open_browser("viewer").get(PLANNED).text
    for words in ("Data ready", "Bath may be opened", "Bath's limit", "level switch", "A1", "REF"):
        assert words in text
    assert "<polyline" in text
    assert "Nothing of this night could be certified" in text
    assert "probes: no calibration on record" in text
    assert "Start this night" not in text  # a viewer heats nothing


def test_what_cannot_be_planned_is_told(open_browser: Open) -> None:
    answer = open_browser("operator").get("/night?bench=quay&batch=spring&stage=as-left")
    assert answer.status_code == 422
    assert "no unit is due as-left" in answer.text


@pytest.mark.parametrize("batch", ["<script>alert(1)</script>", "' OR 1=1 --", "x" * 3000])
def test_odd_words_are_words(open_browser: Open, batch: str) -> None:
    answer = open_browser("operator").ask("GET", "/night", params={"batch": batch})
    assert answer.status_code == 422
    assert "<script>alert" not in answer.text


def test_heat_needs_the_cautions_read(open_browser: Open, app: FastAPI) -> None:
    browser = open_browser("operator")
    answer = browser.post("/night/start", plan_on(browser))
    assert answer.status_code == 422
    assert "cautions: not acknowledged" in answer.text
    assert app.state.live.launcher.last("quay") is None


@pytest.mark.parametrize("person", ["viewer", "certifier", "administrator"])
def test_heat_needs_an_operator(open_browser: Open, person: str) -> None:
    form = plan_on(open_browser("operator")) | {"cautions_read": "true"}
    browser = open_browser(person)
    for path in ("start", "check"):
        assert browser.post(f"/night/{path}", form).status_code == 403


def test_heat_needs_the_bench_held(open_browser: Open, app: FastAPI, shop: Shop) -> None:
    shop.records.add(Person(name="second", rights=("operator",)), Stamp(AT, 1))
    browser = open_browser("operator")
    form = plan_on(browser) | {"cautions_read": "true"}
    app.state.live.holders.take("quay", "second", 0.0)
    answer = browser.post("/night/start", form)
    assert answer.status_code == 422
    assert "held by second" in answer.text
    assert app.state.live.launcher.last("quay") is None


def test_a_bench_that_does_not_pass_is_not_heated_and_says_why(
    open_browser: Open, app: FastAPI, shop: Shop
) -> None:
    """Power-on is a latched trip, and nobody said that it may be cleared."""
    browser = open_browser("operator")
    answer = browser.post("/night/start", plan_on(browser) | {"cautions_read": "true"})
    assert answer.status_code == 422
    alert = re.search(r'role="alert">(.*?)</div>', answer.text, re.DOTALL)
    assert alert
    assert alert[1].count("<p>") == 1, "one reason"
    assert "The controller was switched on; nothing heats by itself (controller is" in alert[1]
    assert "look at the whole bench before any heat" in alert[1]
    assert "--clear-trip" not in answer.text, "nobody can type that on a page"
    assert "I looked at the bench and found the cause: clear it and start" in answer.text
    done = shop.records.current(Action)[-1]
    assert done.entry.what == "start of a night on bench quay, cautions acknowledged, refused"
    assert shop.person("operator").root == done.by

    again = browser.get("/night?bench=quay&again=1")
    assert "Clear it and start" in again.text
    assert "Back to this start" in browser.get("/bench?name=quay").text
    api = browser.send("POST", "/api/night/start", {**api_start(browser), "cautions_read": True})
    assert api.status_code == 422
    (fault,) = api.json()["faults"]
    assert fault.startswith("The controller was switched on; nothing heats by itself (controller")


def test_the_latched_trip_is_cleared_in_place(open_browser: Open, app: FastAPI, shop: Shop) -> None:
    browser = open_browser("operator")
    form = plan_on(browser) | {"cautions_read": "true"}
    assert browser.post("/night/start", form).status_code == 422
    answer = browser.post("/night/start", form | {"clear_trip": "true"})
    assert answer.status_code == 303
    launcher = app.state.live.launcher
    launcher._starts["quay"].process.wait(120)
    last = launcher.last("quay")
    assert (last.state, last.begun) == ("done", True), last
    done = shop.records.current(Action)
    whats = [kept.entry.what for kept in done]
    assert "start of a night on bench quay, cautions acknowledged, trip cleared" in whats


def api_start(browser: Browser) -> dict[str, object]:
    """Return what starts the planned night by the API."""
    choice = {"bench": "quay", "batch": "spring", "stage": "as-found"}
    plan = browser.send("POST", "/api/night/plan", choice).json()["plan"]
    return {"bench": "quay", "plan": plan, "cautions_read": True}


def test_a_real_bench_is_not_heated_without_the_code_that_is_read_at_it(
    open_browser: Open, app: FastAPI, shop: Shop
) -> None:
    """The settings of this workshop relax it, but for virtual benches only."""
    (shop.folder / "bench.toml").write_text(REAL)
    browser = open_browser("operator")
    form = plan_on(browser) | {"cautions_read": "true", "attended": "true", "loaded": "Ana"}
    assert "Code read at the bench" in browser.get(PLANNED).text
    answer = browser.post("/night/start", form | {"clear_trip": "true"})
    assert answer.status_code == 422
    assert "proofbath bench code" in answer.text
    code = issue_code(shop.folder, "quay", app.state.frame.utc())
    wrong = f"{(int(code) + 1) % 10000:04}"
    start = api_start(browser) | {"attended": True, "loaded": "Ana", "code": wrong}
    refused = browser.send("POST", "/api/night/start", start)
    assert (refused.status_code, "2 tries are left" in refused.text) == (422, True)
    assert app.state.live.launcher.last("quay") is None, "nothing was started"
    right = browser.post("/night/start", form | {"code": code})
    assert right.status_code == 422
    assert "/dev/not-plugged-in" in html.unescape(right.text), "it came to the bench itself"


def test_no_route_of_all_heats_a_real_bench_without_the_code(
    open_browser: Open, app: FastAPI, shop: Shop
) -> None:
    (shop.folder / "bench.toml").write_text(REAL)
    browser = open_browser("operator")
    said = {"attended": True, "loaded": "Ana", "clear_trip": True, "name": "quay"}
    body = api_start(browser) | said
    form = {key: str(value) for key, value in body.items()} | plan_on(browser)
    changing = [door for door in doors() if door.method not in ("GET", "WEBSOCKET")]
    assert {(door.method, door.path) for door in changing} > HEATS
    for door in changing:
        if browser.get("/api/session").status_code == 401:  # an earlier door ended it
            browser.sign_in("operator")
        browser.send(door.method, door.asked, body)
        if door.method == "POST":
            browser.post(door.asked, form)
        assert app.state.live.launcher.last("quay") is None, door


@pytest.mark.parametrize("settings", [ServeSettings()])
def test_a_virtual_bench_asks_for_it_too_unless_that_is_relaxed(
    open_browser: Open, app: FastAPI, settings: ServeSettings
) -> None:
    browser = open_browser("operator")
    answer = browser.post("/night/start", plan_on(browser) | {"cautions_read": "true"})
    assert (answer.status_code, "proofbath bench code" in answer.text) == (422, True)
    assert app.state.live.launcher.last("quay") is None


def test_the_pre_flight_is_shown_line_by_line(open_browser: Open) -> None:
    browser = open_browser("operator")
    answer = browser.post("/night/check", plan_on(browser))
    assert answer.status_code == 200
    for words in ("latched trip", "probes agree", "station 1 gauge", "not ready"):
        assert words in answer.text


def test_a_plan_file_is_looked_at_like_a_batch(open_browser: Open) -> None:
    browser = open_browser("operator")
    text = plan_on(browser)["plan"]
    form = {"token": browser.token, "bench": "quay"}
    sent = {"file": ("plan.toml", text.encode(), "application/toml")}
    answer = browser.ask(
        "POST", "/night/plan", data=form, files=sent, headers={"Origin": "http://localhost"}
    )
    assert answer.status_code == 200
    assert "If it begins now" in answer.text
    for bad in (b"\xff\xfe", b"batch = 3", b"#" * 300_000):
        sent = {"file": ("plan.toml", bad, "application/toml")}
        answer = browser.ask(
            "POST", "/night/plan", data=form, files=sent, headers={"Origin": "http://localhost"}
        )
        assert answer.status_code == 422
        assert "plan" in answer.text


def test_a_retest_needs_its_cause_and_goes_along(open_browser: Open, app: FastAPI) -> None:
    """A unit that was not measured yet is no retest: planning says so before anything starts."""
    browser = open_browser("operator")
    text = browser.get(f"{PLANNED}&retest=A1&cause=bubbles&record=seen+at+the+gauge").text
    assert 'name="record" maxlength="200" value="seen at the gauge"' in text
    answer = browser.get(f"{PLANNED}&retest=A1&cause=liked+it+better")
    assert answer.status_code == 422
    assert "its cause is one of bubbles" in answer.text
