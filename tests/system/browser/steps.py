"""What a person does on the Night and Bench pages, by the roles and labels that are read out."""

from __future__ import annotations

import re
from time import monotonic

from playwright.sync_api import Locator, Page, expect

from system.browser.conftest import PATIENCE_MS
from system.web_shop import WAITING

TRIES = 100
AGAIN_MS = 300


def plan_night(page: Page, bench: str, batch: str = WAITING) -> None:
    """Choose a batch's night on a bench and look at what it would be."""
    go(page, "Night")
    page.get_by_label("Bench", exact=True).select_option(bench)
    page.get_by_label("Batch", exact=True).select_option(batch)
    page.get_by_role("button", name="Show this night").click()
    expect(page.get_by_role("heading", name="If it begins now")).to_be_visible()


def start_night(page: Page) -> None:
    """Acknowledge the cautions and start; ends on the Bench page with the run under way.

    The virtual bench has just been switched on: that is a trip, cleared in place.  While the
    bench's last night is still being kept the start is refused; it is tried again.
    """
    refused = page.get_by_role("alert").filter(has_text="a night is under way")
    until_s = monotonic() + PATIENCE_MS / 1000
    while True:
        page.get_by_label("I have read these cautions").check()
        with page.expect_navigation():
            page.get_by_role("button", name="Start this night").click()
        if refused.count() == 0 or monotonic() > until_s:
            break
        page.wait_for_timeout(AGAIN_MS)
    expect(refused).to_have_count(0)
    if "/bench" not in page.url:
        clear_and_start(page)
    expect(page).to_have_url(re.compile("/bench"))
    expect(link(page)).to_contain_text("connected, numbers", timeout=PATIENCE_MS)


def clear_and_start(page: Page) -> None:
    """Confirm a latched trip on the form of a refused start; ends on the Bench page."""
    page.get_by_label("I looked at the bench and found the cause").first.check()
    with page.expect_navigation():
        page.get_by_role("button", name="Clear it and start").click()


def link(page: Page) -> Locator:
    """Return the mark of the Bench page that says how good its connection is."""
    return page.locator("#link")


def machine(page: Page) -> Locator:
    """Return the chip of the Bench page that says what the machine does."""
    return page.locator("#machine")


def bath(page: Page) -> Locator:
    """Return the bath's temperature on the Bench page."""
    return page.locator("#bath")


def standing(page: Page) -> Locator:
    """Return the part of the Bench page that says how the bench stands."""
    return page.get_by_role("region", name="State")


def figures(page: Page) -> Locator:
    """Return the part of the Bench page with the bath's temperature and the progress."""
    return page.get_by_role("region", name="Bath and progress")


def go(page: Page, name: str) -> None:
    """Go to a page by the navigation."""
    page.get_by_role("navigation", name="Pages").get_by_role("link", name=name, exact=True).click()
    expect(page.get_by_role("link", name=name, exact=True)).to_have_attribute(
        "aria-current", "page"
    )


def line_drawn(chart: Locator, variable: str = "--series-1") -> list[int]:
    """Return where a chart's canvas shows a line of the style sheet's colour, in pixels counted."""
    found: list[int] = chart.locator("canvas").evaluate(
        """(canvas, variable) => {
          const copy = document.createElement("canvas");
          copy.width = canvas.width;
          copy.height = canvas.height;
          const context = copy.getContext("2d", {willReadFrequently: true});
          context.fillStyle = getComputedStyle(canvas).getPropertyValue(variable);
          context.fillRect(0, 0, 1, 1);
          const wanted = [...context.getImageData(0, 0, 1, 1).data];
          context.clearRect(0, 0, 1, 1);
          context.drawImage(canvas, 0, 0);
          const data = context.getImageData(0, 0, copy.width, copy.height).data;
          const found = [];
          for (let at = 0; at < data.length; at += 4) {
            if (wanted.every((value, n) => Math.abs(data[at + n] - value) < 24)) found.push(at / 4);
          }
          return found;
        }""",
        variable,
    )
    return found
