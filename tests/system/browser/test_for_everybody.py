"""Every page for everybody: axe without serious findings, keyboard alone, a phone, no JavaScript.

axe-core tests the success criteria of WCAG 2.2 that a program can decide.
"""

from __future__ import annotations

from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from system.browser.conftest import WIDTHS, OpenPage
from system.browser.places import places
from system.browser.steps import go
from system.web_shop import EVERYBODY, Served

pytestmark = pytest.mark.xdist_group("browser")
SERIOUS = {"serious", "critical"}
CONTRAST: dict[str, Any] = {"runOnly": {"type": "rule", "values": ["color-contrast"]}}
PALE: dict[str, Any] = {"rules": {"color-contrast": {"enabled": False}}}
"""Everything but contrast: the colours of a phone's pages are those of a desk's."""


@pytest.mark.parametrize("width", [*WIDTHS])
def test_axe_finds_nothing_serious_and_nothing_lies_beside_the_screen(
    open_page: OpenPage, workshop: Served, width: int
) -> None:
    page, axe = open_page(EVERYBODY, width), Axe()
    findings = []
    for path, address in places(workshop).items():
        page.emulate_media(color_scheme="light")
        page.goto(address)
        found = serious(axe, page, {} if width == 1280 else PALE) + beside(page)
        if width == 1280:
            page.emulate_media(color_scheme="dark")
            found += [f"dark: {line}" for line in serious(axe, page, CONTRAST)]
        findings += [f"{path}: {line}" for line in found]
    assert not findings, "\n".join(findings)


def serious(axe: Axe, page: Page, options: dict[str, Any]) -> list[str]:
    """Return axe's serious and critical findings on a page, one line each."""
    found = axe.run(page, options=options or None).response["violations"]
    return [
        f"{one['id']}: {node['html'][:160]} {node.get('failureSummary', '')}"
        for one in found
        if one["impact"] in SERIOUS
        for node in one["nodes"]
    ]


def beside(page: Page) -> list[str]:
    """Return by how much a page must be scrolled sideways, if it must."""
    wide, shown = page.evaluate(
        "[document.documentElement.scrollWidth, document.documentElement.clientWidth]"
    )
    return [f"{wide - shown} px lie beside the screen"] if wide > shown else []


REACHABLE = """() => [...document.querySelectorAll(
    "a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex='0']"
  )].filter((one) => one.checkVisibility({visibilityProperty: true}) && !one.disabled
    && one.tabIndex >= 0 && (one.type !== "radio" || one.checked))"""
"""Of radio buttons Tab comes to the chosen one; the arrow keys choose."""
FOCUSED = """() => {
  const one = document.activeElement;
  const style = getComputedStyle(one);
  const {left, top, right, bottom} = one.getBoundingClientRect();
  const seen = bottom > 0 && top < innerHeight && right > 0 && left < innerWidth;
  const ringed = style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2;
  const scrolls = one !== document.body && one.scrollWidth > one.clientWidth;
  const at = reachable.indexOf(one);
  return [at < 0 && scrolls ? null : at, seen && ringed, one.outerHTML.slice(0, 120)];
}"""


def test_every_page_is_worked_by_keyboard_alone(open_page: OpenPage, workshop: Served) -> None:
    """Tab comes to everything in the order of reading, and what has the focus shows it."""
    page = open_page(EVERYBODY, 360)
    findings = []
    for path, address in places(workshop).items():
        page.goto(address)
        findings += [f"{path}: {line}" for line in tabbed(page)]
    assert not findings, "\n".join(findings)


def tabbed(page: Page) -> list[str]:
    """Tab through a page; return what is not come to in its order or not seen to be focused."""
    count = page.evaluate(
        f"() => {{ window.reachable = ({REACHABLE})(); return reachable.length; }}"
    )
    found, order = [], [-1]
    while len(order) <= count:
        page.keyboard.press("Tab")
        at, shown, html = page.evaluate(FOCUSED)
        if at is not None and at == order[-1] >= 0:
            continue  # day, month and year of a date are stops of their own
        if at is not None:  # the browser makes a stop of what scrolls by itself
            order.append(at)
        if not shown:
            found.append(f"focus is not seen: {html}")
    if order[1:] != [*range(count)]:
        found.append(f"order of Tab: {order[1:]}")
    return found


def test_skip_link_and_sign_in_work_by_keys(open_page: OpenPage) -> None:
    page = open_page()
    page.goto("/settings")
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="To the content")).to_be_focused()
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    expect(page.get_by_label("Name")).to_be_focused()


def test_forms_work_without_javascript(open_page: OpenPage) -> None:
    page = open_page("operator", 360, java_script_enabled=False)
    go(page, "Batches")
    page.get_by_text("Open a batch").first.click()
    page.get_by_label("Name of the batch").fill("no script 1")
    page.get_by_label("Customer").first.fill("Ness River Ferries")
    page.get_by_label("address").first.fill("Pier House")
    page.get_by_role("button", name="Open").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("no script 1")
    page.get_by_role("link", name="Take units in").first.click()
    page.get_by_label("Serial", exact=True).fill("NS-1")
    page.get_by_label("The serial is new here").check()
    page.get_by_label("I looked at everything").check()
    page.get_by_role("button", name="Put the intake on record").click()
    expect(page.get_by_role("table")).to_contain_text("NS-1")
    go(page, "Bench")
    page.get_by_role("button", name="STOP this bench").click()
    expect(page.get_by_role("status")).to_contain_text("nothing to stop")
