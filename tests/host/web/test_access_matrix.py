"""Each route of the application against each right: who gets in, and who does not."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from typing import NamedTuple

import pytest
from fastapi import FastAPI
from fastapi.dependencies.models import Dependant
from fastapi.routing import APIRoute, APIWebSocketRoute

from host.web.conftest import ORIGIN, RIGHTS, Browser, knock
from proofbath.web.at_bench import at_bench
from proofbath.web.deps import Need
from proofbath.web.routers import routers

OPEN = {("GET", "/sign-in"), ("POST", "/sign-in"), ("POST", "/api/session"), ("GET", "/api/health")}
"""What a stranger may do: come in, and see that the house stands."""


HEATS = {("POST", "/night/start"), ("POST", "/api/night/start")}
"""What starts heat or clears a trip; `test_night_page` tries all others."""


class Door(NamedTuple):
    """One way in: a method (or WEBSOCKET) of a path, and what it needs (none: open)."""

    method: str
    path: str
    needs: tuple[Need, ...]
    presence: bool = False
    """Whether it asks for somebody at the bench."""

    @property
    def asked(self) -> str:
        """Return the path with something in each of its gaps."""
        return re.sub(r"{[^}]*}", "1", self.path)


def doors() -> list[Door]:
    """Return all ways into the application."""
    found = []
    for router in routers():
        for route in router.routes:
            assert isinstance(route, APIRoute | APIWebSocketRoute), route
            methods = sorted(route.methods) if isinstance(route, APIRoute) else ["WEBSOCKET"]
            inner = [*_calls(route.dependant)]
            needs = tuple(call for call in inner if isinstance(call, Need))
            found += [Door(m, route.path, needs, at_bench in inner) for m in methods]
    return found


def _calls(dependant: Dependant) -> Iterator[object]:
    for inner in dependant.dependencies:
        yield inner.call
        yield from _calls(inner)


def test_what_heats_asks_for_somebody_at_the_bench_and_for_an_operator() -> None:
    heating = [door for door in doors() if door.presence]
    assert {(door.method, door.path) for door in heating} == HEATS
    for door in heating:
        for right in RIGHTS:
            let_in = all(need.allows((right,)) for need in door.needs)
            assert let_in == (right == "operator"), door


def test_every_route_names_the_right_it_needs() -> None:
    undeclared = {(door.method, door.path) for door in doors() if not door.needs}
    assert undeclared == OPEN


@pytest.mark.parametrize("name", [None, "nobody", *RIGHTS])
def test_each_route_lets_in_exactly_who_has_its_right(
    app: FastAPI, open_browser: Callable[..., Browser], name: str | None
) -> None:
    browser = open_browser(name)
    held = (name,) if name in RIGHTS else ()
    for door in doors():
        if door.needs and not (name and all(need.allows(held) for need in door.needs)):  # type: ignore[arg-type]
            assert _shut(app, browser, door, signed=name is not None), (name, door)
        elif door.needs:
            if browser.get("/api/session").status_code == 401:  # an earlier door ended it
                assert name
                browser.sign_in(name)
            assert _open(app, browser, door), (name, door)


def _shut(app: FastAPI, browser: Browser, door: Door, signed: bool) -> bool:
    if door.method == "WEBSOCKET":
        return not knock(app, browser, door.asked)
    answer = browser.send(door.method, door.asked)
    if signed:
        return answer.status_code == 403
    if door.method == "GET" and not door.path.startswith("/api/"):
        return answer.headers.get("location", "").startswith("/sign-in?next=/")
    return answer.status_code == 401


def _open(app: FastAPI, browser: Browser, door: Door) -> bool:
    """Beyond the door it may still be refused for its content, but not by its right."""
    if door.method == "WEBSOCKET":
        return knock(app, browser, door.asked)
    answer = browser.send(door.method, door.asked)
    refused = answer.status_code == 403 and "needs the right" in answer.text
    return answer.status_code not in (401, 500) and not refused


def test_no_websocket_opens_for_another_sites_page(
    app: FastAPI, open_browser: Callable[..., Browser]
) -> None:
    browser = open_browser("viewer")
    for door in doors():
        if door.method == "WEBSOCKET":
            assert knock(app, browser, door.asked, ORIGIN)
            assert not knock(app, browser, door.asked, "https://evil.example")
            assert not knock(app, browser, door.asked, ORIGIN, host="evil.example")
