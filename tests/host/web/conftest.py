"""A workshop's pages, asked in this process as a browser asks them; nothing is listened on."""

from __future__ import annotations

import asyncio
import re
import shutil
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import httpx
import pytest
from argon2 import PasswordHasher
from fastapi import FastAPI
from starlette.types import ASGIApp

from proofbath.certificate.parties import Workshop
from proofbath.store.access import Access, Credential
from proofbath.store.kinds import Person, Right
from proofbath.store.records import Records, Stamp
from proofbath.web.app import make_app
from proofbath.web.password import Passwords
from proofbath.workshop.serve_settings import ServeSettings
from proofbath.workshop.settings import ShopFile
from proofbath.workshop.shop import Shop

CHEAP = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
"""The least that Argon2id allows: these tests are about access, not about its cost."""
MORNING = datetime(2026, 3, 2, 7, tzinfo=UTC)
PASSWORD = "nine knots upstream"
ORIGIN = "http://localhost"
RIGHTS: tuple[Right, ...] = ("viewer", "operator", "certifier", "administrator")


class WallClock:
    """Wall and running clock that only a test moves."""

    def __init__(self) -> None:
        self.now_s = 0.0

    def utc(self) -> str:
        """Return the time as ISO 8601 UTC."""
        return (MORNING + timedelta(seconds=self.now_s)).isoformat(timespec="seconds")

    def monotonic_s(self) -> float:
        """Return seconds that never jump."""
        return self.now_s


class Browser:
    """One browser with its cookies; `token` is sent with every change once it is signed in."""

    def __init__(self, app: ASGIApp, runner: asyncio.Runner, address: str = "10.0.0.7") -> None:
        self.runner = runner
        transport = httpx.ASGITransport(app, raise_app_exceptions=False, client=(address, 50000))
        self.client = httpx.AsyncClient(transport=transport, base_url=ORIGIN)
        self.token = ""

    def ask(self, method: str, path: str, **more: Any) -> httpx.Response:
        """Send exactly this request and return the answer; redirects are not followed."""
        return self.runner.run(self.client.request(method, path, **more))

    def get(self, path: str, **more: Any) -> httpx.Response:
        """Ask for a page."""
        return self.ask("GET", path, **more)

    def post(self, path: str, data: dict[str, Any] | None = None, **more: Any) -> httpx.Response:
        """Send a form as a page of ours does: with its token and origin."""
        headers = {"Origin": ORIGIN, **more.pop("headers", {})}
        return self.ask(
            "POST", path, data={"token": self.token, **(data or {})}, headers=headers, **more
        )

    def send(self, method: str, path: str, json: Any = None, **more: Any) -> httpx.Response:
        """Send JSON as a page's script does."""
        headers = {"Origin": ORIGIN, "X-Proofbath-Token": self.token, **more.pop("headers", {})}
        return self.ask(method, path, json=json, headers=headers, **more)

    def sign_in(self, name: str, password: str = PASSWORD) -> httpx.Response:
        """Sign in by the form and keep the token of the next page."""
        answer = self.post("/sign-in", {"name": name, "password": password})
        if answer.status_code == 303:
            self.token = self.page_token()
        return answer

    def page_token(self) -> str:
        """Return the token that a page gives for its forms."""
        found = re.search(r'data-token="([0-9a-f]+)"', self.get("/settings").text)
        assert found
        return found[1]


@pytest.fixture
def clock() -> WallClock:
    """Return the clock of the application."""
    return WallClock()


@pytest.fixture
def settings() -> ServeSettings:
    """Return how the pages are served; a test module may override it."""
    return ServeSettings()


@pytest.fixture(scope="session")
def staffed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return records with one person a right, named by it, and "nobody", who has none at all."""
    path = tmp_path_factory.mktemp("staffed") / "records.sqlite"
    at, hashed = MORNING.isoformat(), Passwords(CHEAP).hash(PASSWORD)
    with closing(Records(path)) as records, closing(Access(path)) as access:
        first = records.add(Person(name="administrator", rights=("administrator",)), Stamp(at))
        for right in RIGHTS[:-1]:
            records.add(Person(name=right, rights=(right,)), Stamp(at, first))
        records.add(Person(name="nobody", rights=()), Stamp(at, first))
        for person in records.current(Person):
            access.set_password(Credential(person.root, hashed, False, at))
    return path


@pytest.fixture
def shop(tmp_path: Path, staffed: Path, settings: ServeSettings) -> Iterator[Shop]:
    """Return a workshop of those people; everybody has the same password."""
    shutil.copy(staffed, tmp_path / "records.sqlite")
    file = ShopFile(
        workshop=Workshop(name="Ferry works", address=("Quay 4",), contact="bench@ferry.example"),
        serve=settings,
    )
    with closing(Records(tmp_path / "records.sqlite")) as records:
        yield Shop(file, tmp_path / "workshop.toml", records)


@pytest.fixture
def app(shop: Shop, clock: WallClock) -> Iterator[FastAPI]:
    """Return the application of the workshop."""
    app = make_app(shop, Passwords(CHEAP), clock.utc, clock.monotonic_s)
    with closing(app.state.frame.access):
        yield app


@pytest.fixture
def open_browser(app: FastAPI) -> Iterator[Callable[..., Browser]]:
    """Return what opens a browser: signed in as the person of a right, or of no one."""
    with ExitStack() as stack:
        runner = stack.enter_context(asyncio.Runner())

        def open_one(name: str | None = None, address: str = "10.0.0.7") -> Browser:
            browser = Browser(app, runner, address)
            stack.callback(lambda: runner.run(browser.client.aclose()))
            if name:
                assert browser.sign_in(name).status_code == 303
            return browser

        yield open_one


def knock(
    app: FastAPI, browser: Browser, path: str, origin: str = ORIGIN, host: str = "localhost"
) -> bool:
    """Whether a websocket is accepted; it is left again at once."""
    cookies = "; ".join(f"{name}={value}" for name, value in browser.client.cookies.items())
    headers = {"host": host, "origin": origin, "cookie": cookies}
    said: list[str] = []

    async def visit() -> None:
        heard = iter(["websocket.connect"])

        async def receive() -> dict[str, Any]:
            return {"type": next(heard, "websocket.disconnect"), "code": 1001}

        async def send(message: Any) -> None:
            said.append(message["type"])

        scope = {
            "type": "websocket",
            "asgi": {"version": "3.0"},
            "scheme": "ws",
            "path": path,
            "raw_path": path.encode(),
            "query_string": b"",
            "headers": [(name.encode(), value.encode()) for name, value in headers.items()],
            "client": ("10.0.0.7", 50000),
            "server": ("localhost", 80),
            "subprotocols": [],
            "state": {},
        }
        await asyncio.wait_for(app(scope, receive, send), 20)

    asyncio.run(visit())
    return "websocket.accept" in said
