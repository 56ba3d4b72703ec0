"""Signing in and out, sessions and passwords, seen through the pages."""

from __future__ import annotations

from collections.abc import Callable

from host.web.conftest import PASSWORD, Browser

Open = Callable[..., Browser]


def test_a_page_leads_a_stranger_to_sign_in_and_back(open_browser: Open) -> None:
    browser = open_browser()
    led = browser.get("/settings?x=1")
    assert (led.status_code, led.headers["location"]) == (303, "/sign-in?next=/settings%3Fx%3D1")
    assert browser.get("/api/session").status_code == 401
    form = {"name": "viewer", "password": PASSWORD, "next": "/settings"}
    back = browser.post("/sign-in", form)
    assert (back.status_code, back.headers["location"]) == (303, "/settings")
    assert browser.get("/settings").status_code == 200
