"""The websocket of a bench: state and record at once, then what is new, and a beat each second."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress

from fastapi import APIRouter, FastAPI, WebSocket, WebSocketDisconnect
from starlette.concurrency import run_in_threadpool

from proofbath.errors import ProofbathError
from proofbath.web.deps import Viewer
from proofbath.web.frame import frame_of
from proofbath.web.live_feed import Viewer as Screen
from proofbath.web.live_hub import hub_in, hub_of
from proofbath.web.live_source import BUCKETS_MOST, BUCKETS_USUAL, Window

SIGNED_OUT, NOT_HERE, NOT_UNDERSTOOD = 4401, 4404, 4400
SLOWEST_S = 20.0
"""A screen that takes longer for one message is let go of."""
CHECK_EVERY_S = 5.0
LONGEST_WINDOW_S = 7 * 86_400.0


@asynccontextmanager
async def _reading(app: FastAPI) -> AsyncIterator[None]:
    """Read all benches from the start on, so that the first who looks need not wait."""
    hub = hub_in(app.state)
    for feed in await run_in_threadpool(hub.feeds):
        feed.start()
    yield
    hub.close()


router = APIRouter(include_in_schema=False, lifespan=_reading)


@router.websocket("/live/{bench:path}")
async def live(ws: WebSocket, bench: str, signed: Viewer) -> None:
    """Show a bench to somebody signed in until either side has enough."""
    await ws.accept()
    try:
        feed = await run_in_threadpool(hub_of(ws).feed, bench)
    except ProofbathError as error:
        await ws.close(NOT_HERE, str(error)[:100])
        return
    screen = feed.join()
    tasks = [asyncio.create_task(job) for job in (_send(ws, screen), _hear(ws, screen))]
    try:
        done, _ = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
        code = next(iter(done)).result()
    finally:
        feed.leave(screen)
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
    if code:
        with suppress(RuntimeError):
            await ws.close(code)


async def _send(ws: WebSocket, screen: Screen) -> int:
    """Send until nobody takes it any more; a beat a second keeps the sign-in looked at."""
    clock_s = frame_of(ws).monotonic_s
    looked_s = clock_s()
    try:
        while True:
            text = await screen.next()
            if clock_s() - looked_s >= CHECK_EVERY_S:
                looked_s = clock_s()
                if not await _signed_in(ws):
                    return SIGNED_OUT
            async with asyncio.timeout(SLOWEST_S):
                await ws.send_text(text)
    except ProofbathError:
        return 1011
    except (WebSocketDisconnect, TimeoutError, RuntimeError):
        return 0


async def _hear(ws: WebSocket, screen: Screen) -> int:
    try:
        while True:
            window = window_in(await ws.receive_text())
            if window is None:
                return NOT_UNDERSTOOD
            screen.look(window)
    except (WebSocketDisconnect, KeyError, RuntimeError):
        return 0


async def _signed_in(ws: WebSocket) -> bool:
    frame = frame_of(ws)
    token = ws.cookies.get(frame.cookie, "")
    return await run_in_threadpool(frame.sessions.find, token) is not None


def window_in(text: str) -> Window | None:
    """Return what a screen asks to look at; None for anything else."""
    try:
        asked = json.loads(text)
        last_s, buckets = asked.get("last_s"), asked.get("buckets", BUCKETS_USUAL)
        last_s = None if last_s is None else min(max(float(last_s), 1.0), LONGEST_WINDOW_S)
        return Window(last_s, min(max(int(buckets), 10), BUCKETS_MOST))
    except (ValueError, TypeError, AttributeError, OverflowError, RecursionError):
        return None
