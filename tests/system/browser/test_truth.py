"""The pages show as present only what is: while others heat, on a refused start, without a link."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from playwright.sync_api import Browser, Page, Route, expect

from proofbath.scenario.ferry import BENCH
from system.browser.conftest import PATIENCE_MS, WIDTHS, sign_in
from system.browser.steps import (
    bath,
    clear_and_start,
    figures,
    link,
    machine,
    plan_night,
    standing,
    start_night,
)
from system.web_shop import PEOPLE, Served, served

pytestmark = pytest.mark.xdist_group("browser")
SPEED = 60
"""So that a bath of 45 °C and more takes a person's patience, not a night."""
NUMBER = re.compile(r"^\d+\.\d\d$")


@pytest.fixture(scope="module")
def shop(workshop: Served) -> Iterator[Served]:
    """Serve the walks' workshop once more, slower: its runs' processes see another folder."""
    with served(workshop.folder / "workshop.toml", SPEED) as opened:
        yield opened


@pytest.fixture
def page(chromium: Browser, shop: Served) -> Iterator[Page]:
    """Return a page of the operator's."""
    context = chromium.new_context(base_url=shop.address, viewport=WIDTHS[1280])
    context.set_default_timeout(PATIENCE_MS)
    opened = context.new_page()
    sign_in(opened, PEOPLE["operator"])
    yield opened
    context.close()


@contextmanager
def another_program(shop: Served) -> Iterator[None]:
    """Let a heating test run on the bench; its record is kept in a folder of its own."""
    words = ["tune", "--bench", shop.folder / "bench.toml", "--dry", "--clear-trip"]
    words += ["--out", shop.folder / "tuning"]
    process = subprocess.Popen(
        [sys.executable, "-m", "proofbath", *map(str, words)],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        env=os.environ | {"XDG_RUNTIME_DIR": str(shop.runtime)},
    )
    try:
        yield
    finally:
        process.terminate()
        process.wait(60)


def bath_c(page: Page) -> float:
    """Return the bath's temperature as the page shows it."""
    expect(bath(page)).to_have_text(NUMBER, timeout=PATIENCE_MS)
    return float(bath(page).inner_text())


def test_while_another_program_heats_the_page_shows_its_bath_and_nothing_of_the_old_run(
    page: Page, shop: Served
) -> None:
    """An old run's figures exist, and nobody may take its last bath for the present one."""
    page.goto(f"/bench?name={BENCH}")
    expect(bath(page)).to_have_text("–")
    old = page.locator("#bath-last")
    expect(old).to_contain_text(re.compile(r"last \d+\.\d °C"))
    serials = page.get_by_role("region", name="Stations")
    expect(serials).to_contain_text("T82-REF")
    with another_program(shop):
        expect(machine(page)).to_contain_text("by another program", timeout=PATIENCE_MS)
        expect(machine(page)).to_contain_text("heating", timeout=PATIENCE_MS)
        expect(serials).not_to_contain_text("T82-REF")
        expect(page.locator("#setpoint")).to_have_text("–")
        expect(old).to_be_empty()
        before_c = bath_c(page)
        page.wait_for_function(
            "before => parseFloat(document.getElementById('bath').textContent) > before + 10",
            arg=before_c,
            timeout=PATIENCE_MS,
        )
        truth_c = page.request.get(f"/api/bench?name={BENCH}").json()["state"]["process"]["bath_c"]
        assert bath_c(page) == pytest.approx(truth_c, abs=8.0), "3 s of 60 times life at 2 K/min"
        page.goto("/")
        bench = page.get_by_role("region", name=BENCH, exact=True)
        expect(bench).not_to_contain_text("just now")
        expect(bench).to_contain_text("Another program runs this bench: keep the bath shut.")
        page.goto(f"/bench?name={BENCH}")
        bath_c(page)
    expect(bath(page)).to_have_text("–", timeout=PATIENCE_MS)


def test_a_refused_start_answers_with_its_one_reason_and_is_confirmed_in_place(
    page: Page, shop: Served
) -> None:
    plan_night(page, BENCH)
    page.get_by_label("I have read these cautions").check()
    with page.expect_response("**/night/start") as answer:
        page.get_by_role("button", name="Start this night").click()
    assert answer.value.status == 422
    alert = page.get_by_role("alert")
    expect(alert).to_have_count(1)
    expect(alert.locator("p")).to_have_count(1)
    expect(alert).to_contain_text("The controller was switched on")
    expect(alert).to_be_in_viewport()
    clear_and_start(page)
    expect(machine(page)).to_contain_text("heating", timeout=PATIENCE_MS)
    page.get_by_role("button", name="Pause").click()
    expect(machine(page)).to_contain_text(re.compile(r"paused \d+ of 60 min"), timeout=PATIENCE_MS)
    expect(page.get_by_role("button", name="Pause")).to_be_hidden()
    page.get_by_role("button", name="Resume").click()
    expect(machine(page)).to_contain_text("heating", timeout=PATIENCE_MS)
    expect(page.get_by_role("button", name="Resume")).to_be_hidden()
    page.get_by_role("button", name="STOP this bench").click()
    expect(standing(page)).to_contain_text("ended, stopped", timeout=PATIENCE_MS)


def test_a_page_whose_script_is_blocked_claims_nothing(page: Page, shop: Served) -> None:
    """A night runs meanwhile; the page that the server made shows no number and no life."""
    plan_night(page, BENCH)
    start_night(page)
    bath_c(page)

    def block(route: Route) -> None:
        route.abort()

    page.route("**/bench.js", block)
    page.reload()
    page.wait_for_timeout(4000)
    expect(machine(page)).to_contain_text("waiting for the bench")
    expect(bath(page)).to_have_text("–")
    for words in ("✓", "live", "Live", "numbers", "s old"):
        expect(standing(page)).not_to_contain_text(words)
    assert re.search(r"\d\d\.\d\d", figures(page).inner_text()) is None
    page.unroute("**/bench.js")
    page.reload()
    bath_c(page)
    page.context.set_offline(True)
    expect(link(page)).to_contain_text("no connection", timeout=PATIENCE_MS)
    expect(bath(page)).to_have_text("–", timeout=PATIENCE_MS)
    expect(machine(page)).to_contain_text("not known")
    expect(page.locator("#bath-last")).to_contain_text(re.compile(r"last \d+\.\d °C at \d\d:\d\d"))
    page.context.set_offline(False)
    bath_c(page)
    page.get_by_role("button", name="STOP this bench").click()
    expect(standing(page)).to_contain_text("ended, stopped", timeout=PATIENCE_MS)
