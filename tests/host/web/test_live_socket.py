"""The websocket as a browser speaks to it: who is let in, what comes first, who is sent away."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Awaitable, Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI

from host.web.conftest import Browser, WallClock, knock
from host.web.live_journal import LiveJournal
from host.web.live_shop import with_quay
from proofbath.web.live import NOT_HERE, NOT_UNDERSTOOD, SIGNED_OUT, window_in
from proofbath.web.live_source import BUCKETS_MOST
from proofbath.workshop.shop import Shop

Open = Callable[..., Browser]


@pytest.fixture
def shop(shop: Shop) -> Shop:
    """Return the workshop with one virtual bench, "quay"."""
    return with_quay(shop)


@pytest.fixture
def quay(shop: Shop) -> Iterator[LiveJournal]:
    assert isinstance(shop.records.place, Path)
    quay = LiveJournal(shop.records.place)
    yield quay
    quay.close()


class Socket:
    """One websocket spoken in ASGI's own words."""

    def __init__(self, app: FastAPI, cookies: dict[str, str], path: str) -> None:
        self._app = app
        self._heard: asyncio.Queue[dict[str, Any]] = asyncio.Queue()
        self._said: asyncio.Queue[dict[str, Any]] = asyncio.Queue()
        cookie = "; ".join(f"{name}={value}" for name, value in cookies.items())
        headers = {"host": "localhost", "origin": "http://localhost", "cookie": cookie}
        self._scope = {
            "type": "websocket",
            "asgi": {"version": "3.0"},
            "scheme": "ws",
            "path": path,
            "raw_path": path.encode(),
            "query_string": b"",
            "headers": [(k.encode(), v.encode()) for k, v in headers.items()],
            "client": ("10.0.0.7", 50000),
            "server": ("localhost", 80),
            "subprotocols": [],
            "state": {},
        }

    async def play(self, scene: Callable[[Socket], Awaitable[None]]) -> None:
        """Connect, play a scene, and leave."""
        self._heard.put_nowait({"type": "websocket.connect"})
        task = asyncio.create_task(self._app(self._scope, self._heard.get, self._said.put))
        try:
            assert (await self.said())["type"] == "websocket.accept"
            await scene(self)
        finally:
            self._heard.put_nowait({"type": "websocket.disconnect", "code": 1001})
            with suppress(asyncio.CancelledError):
                await asyncio.wait_for(task, 20)

    async def said(self) -> dict[str, Any]:
        """Return what the server says next."""
        return await asyncio.wait_for(self._said.get(), 20)

    async def message(self, kind: str) -> dict[str, Any]:
        """Return the next message of a kind."""
        while True:
            message: dict[str, Any] = json.loads((await self.said())["text"])
            if message["kind"] == kind:
                return message

    async def closed(self) -> int:
        """Return the code the server closes with."""
        while True:
            said = await self.said()
            if said["type"] == "websocket.close":
                return int(said["code"])

    def tell(self, text: str) -> None:
        """Send a text to the server."""
        self._heard.put_nowait({"type": "websocket.receive", "text": text})


def play(
    app: FastAPI, browser: Browser, scene: Callable[[Socket], Awaitable[None]], bench: str = "quay"
) -> None:
    asyncio.run(Socket(app, dict(browser.client.cookies), f"/live/{bench}").play(scene))


def test_nobody_looks_without_a_sign_in(app: FastAPI, open_browser: Open) -> None:
    assert not knock(app, open_browser(), "/live/quay")
    assert not knock(app, open_browser("nobody"), "/live/quay")
    assert knock(app, open_browser("viewer"), "/live/quay")


def test_a_forged_cookie_does_not_open_it(app: FastAPI, open_browser: Open) -> None:
    browser = open_browser()
    browser.client.cookies.set("proofbath", "a" * 43)
    assert not knock(app, browser, "/live/quay")


def test_the_record_comes_first_then_what_is_new(
    app: FastAPI, open_browser: Open, quay: LiveJournal
) -> None:
    quay.begin()
    quay.commit()

    async def scene(socket: Socket) -> None:
        first = await socket.message("begin")
        assert first["upto"] == 10
        assert len(first["history"]["t_s"]) == 10
        quay.commit()
        assert (await socket.message("more"))["upto"] == 20
        socket.tell('{"last_s": 0.5, "buckets": 100}')
        assert len((await socket.message("begin"))["history"]["t_s"]) == 11

    play(app, open_browser("viewer"), scene)


def test_who_signs_out_is_sent_away(
    app: FastAPI, open_browser: Open, clock: WallClock, quay: LiveJournal
) -> None:
    browser = open_browser("viewer")

    async def scene(socket: Socket) -> None:
        await socket.message("begin")
        app.state.frame.access.end_all_of(app.state.frame.shop.person("viewer").root)
        clock.now_s += 6.0
        assert await socket.closed() == SIGNED_OUT

    play(app, browser, scene)


def test_a_bench_that_is_not_ours_is_closed_in_words(app: FastAPI, open_browser: Open) -> None:
    async def scene(socket: Socket) -> None:
        assert await socket.closed() == NOT_HERE

    play(app, open_browser("viewer"), scene, "slipway")


@pytest.mark.parametrize("text", ["", "[]", "{", '{"last_s": "x"}', '{"buckets": {}}', "[" * 5000])
def test_what_is_not_understood_ends_the_talk(
    app: FastAPI, open_browser: Open, quay: LiveJournal, text: str
) -> None:
    async def scene(socket: Socket) -> None:
        socket.tell(text)
        assert await socket.closed() == NOT_UNDERSTOOD

    play(app, open_browser("viewer"), scene)


def test_a_screen_cannot_ask_for_more_than_a_screen() -> None:
    window = window_in('{"last_s": 1e99, "buckets": 1e9}')
    assert window is not None
    assert window.buckets == BUCKETS_MOST
    assert window_in('{"last_s": 1e999, "buckets": 1e999}') is None
    assert window_in('{"last_s": NaN}') is not None
