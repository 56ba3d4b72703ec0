"""The start page: units of last night, whether the bath may be opened, and tonight's list."""

from __future__ import annotations

import asyncio
import datetime as dt
import html
import re
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from host.web.conftest import CHEAP, PASSWORD, Browser
from host.workshop.ferry_shop import OPERATOR, ferry_shop
from host.workshop.papers_fixtures import OPENS_C
from host.workshop.raw_shop import LEFT_ON, REFERENCE, TEAL_82, begin_batch
from proofbath.store.access import Credential
from proofbath.web.app import make_app
from proofbath.web.bath_now import Look, age_in_words
from proofbath.web.benches_now import BenchNow
from proofbath.web.password import Passwords
from proofbath.web.present import Process
from proofbath.web.start_bath import bath_state
from proofbath.workshop.shop import Shop

Open = Callable[..., Browser]
AT = "2025-10-02T06:00:00+00:00"


def test_each_unit_of_last_night_has_its_card(open_browser: Open) -> None:
    """A unit's start-to-open at 0.1 mm lies 0.2 K above where its 0.5 mm/K begin (closed form)."""
    (bench,) = open_browser("viewer").get("/api/start").json()["benches"]
    night = bench["last_night"]
    assert (night["kept"], night["fresh"], night["status"]) == (True, True, "done")
    cards = {card["serial"]: card for card in night["units"]}
    assert {*cards} == {*OPENS_C, REFERENCE}
    for serial, opens_c in OPENS_C.items():
        card, off_k = cards[serial], opens_c + 0.1 / 0.5 - TEAL_82.nominal_start_to_open_c
        assert card["deviation_k"] == pytest.approx(off_k, abs=card["deviation_u_k"])
    outcomes = [cards[serial]["outcome"] for serial in OPENS_C]
    assert outcomes == ["pass", "pass", "fail", "conditional pass"]
    assert cards[REFERENCE]["outcome"] == "in control"


def test_the_page_says_what_to_do_next(open_browser: Open) -> None:
    page = open_browser("viewer").get("/").text
    assert page.count('class="card unit-card"') == len(OPENS_C) + 1
    text = html.unescape(re.sub(r"<[^>]+>", " ", page))
    assert "Last night: run 2, done" in text
    assert "Next: certify" in text
    assert "Next: ask the customer" in text
    assert "Put its results on record" not in text


def test_the_evening_has_a_list_for_the_units_that_are_due(open_browser: Open, shop: Shop) -> None:
    begin_batch(shop, "<b>ferry</b> 13", ["T82-0201", "T82-0202"], LEFT_ON)
    browser = open_browser("operator")
    (bench,) = browser.get("/api/start").json()["benches"]
    tonight = bench["tonight"]
    assert (tonight["batch"], tonight["stage"], tonight["faults"]) == (
        "<b>ferry</b> 13",
        "as-found",
        [],
    )
    hung = {place["station"]: place["serial"] for place in tonight["stations"]}
    assert hung == {1: "T82-0201", 2: "T82-0202", 3: "", 4: "", 5: "", 6: REFERENCE}
    assert tonight["fill_above_switch_l"] is not None
    page = browser.get("/").text
    assert "<b>ferry</b>" not in page
    for words in ("Fill line", tonight["ready_at"], tonight["cold_at"], "water of 60 °C burns"):
        assert words in page
    night = browser.get(tonight["address"])
    assert (night.status_code, "T82-0202" in night.text) == (200, True)


def test_without_a_bench_the_page_says_so(open_browser: Open, shop: Shop) -> None:
    (shop.folder / "bench.toml").write_text("")
    assert open_browser("viewer").get("/").status_code == 422


def heard(bath_c: float, status: str, old_s: float, trip: str | None = None) -> BenchNow:
    """Return a bench whose newest sample is so old, by the calendar, and so warm."""
    began = dt.datetime.fromisoformat(AT) - dt.timedelta(seconds=old_s + 100)
    now = BenchNow("quay", 7, status=status, t_s=100.0, first_s=0.0, bath_c=bath_c, trip=trip)
    now.head = type("Head", (), {"started": began.isoformat()})()
    now._speed = 1.0
    return now


def look(process: Process | None = None) -> Look:
    return Look(process, "here", 0.0, AT)


TOLD = {"run": 7, "records": "here", "age_s": 0.2, "t_s": 100.0, "doing": "heating"}


@pytest.mark.parametrize(
    ("bath_c", "status", "old_s", "may_open"),
    [
        (44.9, "done", 3600, "yes"),
        (45.0, "done", 60, "no"),
        (88.0, "stopped", 3600, "not known"),
        (30.0, "open", 600, "not known"),
    ],
)
def test_a_bath_is_safe_only_where_that_is_known(
    bath_c: float, status: str, old_s: float, may_open: str
) -> None:
    assert bath_state(heard(bath_c, status, old_s), look()).may_open == may_open


def test_a_bath_that_another_program_heats_is_told_as_that_program_says() -> None:
    """The last run left it at 44.1 °C an hour ago; another program has heated it to 75.9 °C."""
    other = Process(TOLD | {"records": "elsewhere", "bath_c": 75.9}, 0.0)
    found = bath_state(heard(44.1, "done", 3600), look(other))
    assert (found.bath_c, found.may_open) == (75.9, "not known")
    silent = Process({}, 0.0, 4711)
    found = bath_state(heard(44.1, "done", 3600), look(silent))
    assert (found.bath_c, found.last_c, found.may_open) == (None, 44.1, "not known")
    assert found.last.endswith("60 min ago")


def test_a_bath_that_somebody_took_since_the_last_sample_is_not_known_to_be_cool() -> None:
    now = heard(44.1, "done", 3600)
    then = dt.datetime.fromisoformat(AT)
    assert bath_state(now, look(), then - dt.timedelta(hours=2)).may_open == "yes"
    assert bath_state(now, look(), then - dt.timedelta(minutes=5)).may_open == "not known"


def test_a_bath_that_is_watched_after_a_trip_is_shown_and_stays_shut() -> None:
    now = heard(80.0, "tripped", 600, "climb_while_off")
    watched = bath_state(now, look(Process(TOLD | {"bath_c": 71.5, "t_s": 700.0}, 0.0)))
    assert (watched.bath_c, watched.may_open) == (71.5, "no")
    cool = bath_state(heard(30.0, "tripped", 600, "climb_while_off"), look())
    assert (cool.bath_c, cool.may_open) == (None, "not known"), "it may be heated still"


def test_a_bath_without_samples_is_not_known() -> None:
    assert bath_state(BenchNow("quay"), look()).may_open == "not known"


@pytest.mark.parametrize(
    ("old_s", "words"),
    [
        (3.4, "3 s ago"),
        (90, "1 min ago"),
        (119 * 60, "119 min ago"),
        (47 * 3600, "47 h ago"),
        (50 * 3600, "2 days ago"),
    ],
)
def test_ages_read_well(old_s: float, words: str) -> None:
    assert age_in_words(old_s) == words


def test_results_of_a_night_without_its_process_are_put_on_record(tmp_path: Path) -> None:
    with ferry_shop(tmp_path) as ferry, asyncio.Runner() as runner:
        ferry.calibrate()
        ferry.batch(["T82-1"])
        evening = ferry.at
        ferry.night("as-found", {"T82-1": 82.0}, keep=False)
        app = make_app(ferry.shop, Passwords(CHEAP), lambda: evening)
        with closing(app.state.frame.access) as access:
            hashed = Passwords(CHEAP).hash(PASSWORD)
            access.set_password(Credential(ferry.people[OPERATOR], hashed, False, evening))
            browser = Browser(app, runner)
            browser.sign_in(OPERATOR)
            assert "Put its results on record" in browser.get("/").text
            assert browser.post("/keep").headers["location"] == "/?said=kept"
            page = browser.get("/").text
            assert "Put its results on record" not in page
            assert 'href="/units/T82-1"' in page
            runner.run(browser.client.aclose())
