"""A night by the pages: planned, started on the virtual bench, watched and stopped; one trips."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect

from proofbath.bench.cautions import NIGHT as CAUTIONS
from proofbath.scenario.ferry import BENCH
from system.browser.conftest import PATIENCE_MS, WIDTHS, OpenPage
from system.browser.steps import (
    TRIES,
    figures,
    go,
    line_drawn,
    link,
    machine,
    plan_night,
    standing,
    start_night,
)
from system.web_shop import LEAKY

pytestmark = pytest.mark.xdist_group("browser")
widths = pytest.mark.parametrize("width", [*WIDTHS])


@widths
def test_a_night_is_planned_started_watched_and_stopped(open_page: OpenPage, width: int) -> None:
    page = open_page("operator", width)
    go(page, "Start")
    evening = page.get_by_role("region", name=BENCH, exact=True)
    expect(evening.get_by_role("heading", name="Tonight: ")).to_be_visible()
    expect(evening).to_contain_text("Safe to open")
    evening.get_by_role("link", name="Plan and start this night").click()
    expect(page.get_by_role("table", name="What hangs where")).to_contain_text("T82-REF")
    page.get_by_role("button", name="Look at the bench now").click()
    expect(page.get_by_role("row", name="bath probe")).to_contain_text("°C", timeout=PATIENCE_MS)
    for caution in CAUTIONS:
        expect(page.get_by_text(caution)).to_be_visible()
    page.get_by_role("button", name="Start this night").click()
    expect(page.get_by_label("I have read these cautions")).to_be_focused()  # not without it

    start_night(page)
    expect(figures(page)).to_contain_text("cycle 1")
    stations = page.get_by_role("region", name="Stations")
    expect(stations.get_by_role("listitem").nth(5)).to_contain_text("T82-REF (reference)")
    chart = page.get_by_role("img", name="Bath temperature and set-point against time")
    drawn = line_drawn(chart)
    before = figures(page).inner_text()
    expect(figures(page)).not_to_have_text(before, timeout=PATIENCE_MS)
    expect(figures(page)).to_contain_text("rising", timeout=PATIENCE_MS)
    assert len(line_drawn(chart)) > 100
    assert line_drawn(chart) != drawn

    page.reload()
    expect(link(page)).to_contain_text("connected, numbers")
    expect(machine(page)).to_contain_text("heating")
    expect(figures(page)).to_contain_text("cycle 1")

    page.get_by_role("button", name="STOP this bench").click()
    expect(page.get_by_role("status")).to_contain_text("heat and element currents go off")
    expect(standing(page)).to_contain_text(
        "ended, stopped: by Tomas Reed from the page", timeout=PATIENCE_MS
    )


@widths
def test_a_trip_is_told_in_words_with_what_to_do(open_page: OpenPage, width: int) -> None:
    page = open_page("operator", width)
    plan_night(page, LEAKY)
    assert "Nothing of this night could be certified" in page.inner_text("main")
    start_night(page)
    alert = page.locator("#trip")
    expect(alert).to_contain_text("the bath's level was low", timeout=PATIENCE_MS)
    expect(alert).to_contain_text("let it cool below 45 °C")
    expect(standing(page)).to_contain_text("ended, tripped", timeout=PATIENCE_MS)
    expect(page.get_by_role("region", name="What happened")).to_contain_text("level")
    expect(machine(page)).to_contain_text("tripped")
    go(page, "Start")
    bench = page.get_by_role("region", name=LEAKY)
    card = bench.get_by_role("alert")
    for _ in range(TRIES):  # the Start page is of its last look at the benches
        if card.count():
            break
        page.reload()
    expect(card).to_have_count(1)
    for words in (": tripped at ", "The bath's level was low", "Bath now", "fill to the line"):
        expect(card).to_contain_text(words)
    expect(bench.locator(".unit-card")).to_have_count(0)
    card.get_by_role("link", name="Look at the run").click()
    expect(standing(page)).to_contain_text("ended, tripped", timeout=PATIENCE_MS)


def test_who_may_only_look_can_stop_but_not_start(open_page: OpenPage) -> None:
    page = open_page("viewer", 360)
    plan_night(page, BENCH)
    expect(page.get_by_text("Starting heat needs the right operator.")).to_be_visible()
    expect(page.get_by_role("button", name="Start this night")).to_have_count(0)
    go(page, "Settings")
    page.get_by_role("button", name="STOP every run").click()
    # The leaky bench may still be watched while it cools.
    expect(page.get_by_role("status")).to_contain_text(re.compile("nothing to stop|go off"))
