"""Debian's chromium before a served workshop: what it asked for and complained of is kept."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import (
    Browser,
    BrowserContext,
    ConsoleMessage,
    Page,
    ViewportSize,
    sync_playwright,
)

from system.web_shop import PASSWORD, PEOPLE, Served, furnish, served

CHROMIUM = "/usr/bin/chromium"
WIDTHS: dict[int, ViewportSize] = {
    360: {"width": 360, "height": 740},
    1280: {"width": 1280, "height": 800},
}
"""A small phone held upright, and a desk's screen, in CSS pixels."""
PATIENCE_MS = 60_000


@dataclass
class Watched:
    """What pages of one context asked for from elsewhere, and what their console said."""

    address: str
    elsewhere: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)

    def watch(self, context: BrowserContext) -> None:
        """Listen to all pages of a context."""
        context.on("request", lambda request: self.asked(request.url))
        context.on("console", self.said)
        context.on("weberror", lambda error: self.complaints.append(str(error.error)))
        context.on("page", lambda page: page.on("websocket", lambda opened: self.asked(opened.url)))

    def asked(self, url: str) -> None:
        """Keep an address that is not the workshop's own."""
        here, parts = urlsplit(self.address), urlsplit(url)
        own = parts.scheme in ("data", "blob", "chrome-extension")  # the last shows PDF files
        if not own and parts.netloc != here.netloc:
            self.elsewhere.append(url)

    def said(self, message: ConsoleMessage) -> None:
        """Keep what a console complains of; that a page was refused, its answer says."""
        if message.type in ("error", "warning") and "the server responded" not in message.text:
            self.complaints.append(message.text)


OpenPage = Callable[..., Page]


@pytest.fixture(scope="session")
def workshop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """Serve a furnished workshop to all walks."""
    with served(furnish(tmp_path_factory.mktemp("walk"))) as opened:
        yield opened


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    """Start the browser; it ends with the module, and so does its event loop."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=CHROMIUM, args=["--disable-gpu", "--no-sandbox"]
        )
        yield browser
        browser.close()


@pytest.fixture
def open_page(chromium: Browser, workshop: Served) -> Iterator[OpenPage]:
    """Return what opens a page: `open_page("operator", width=..., **context)`, signed in.

    In the end nothing may have been asked from elsewhere, nor a console have complained.
    """
    watched = Watched(workshop.address)
    with ExitStack() as stack:

        def open_one(name: str | None = None, width: int = 1280, **more: Any) -> Page:
            context = chromium.new_context(
                base_url=workshop.address, viewport=WIDTHS[width], **more
            )
            stack.callback(context.close)
            context.set_default_timeout(PATIENCE_MS)
            watched.watch(context)
            page = context.new_page()
            if name is not None:
                sign_in(page, PEOPLE.get(name, name))
            return page

        yield open_one
    assert watched.elsewhere == []
    assert watched.complaints == []


def sign_in(page: Page, name: str, path: str = "/settings") -> None:
    """Sign in by the form, as a person does."""
    page.goto(path)
    page.get_by_label("Name").fill(name)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("button", name="Sign out").wait_for()
