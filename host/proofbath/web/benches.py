"""All benches of the records on one page: state, run, bath, and when it was last heard of."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, closing
from datetime import datetime, timedelta
from typing import Literal

from fastapi import APIRouter, FastAPI, Request
from starlette.responses import HTMLResponse

from proofbath.description import Described
from proofbath.store.journal import OPEN
from proofbath.web.benches_follow import Follower
from proofbath.web.benches_now import Benches, BenchNow
from proofbath.web.benches_watch import Watch
from proofbath.web.deps import Viewer
from proofbath.web.frame import frame_of
from proofbath.web.logging_json import log_as_json
from proofbath.web.systemd import notify, watchdog
from proofbath.web.templating import page


@asynccontextmanager
async def _watching(app: FastAPI) -> AsyncIterator[None]:
    """Watch all benches while the pages are served, and tell the service manager so."""
    log_as_json()
    watch = app.state.watch = Watch(app.state.frame.shop)
    tasks = [asyncio.create_task(work) for work in (watch.run(), watchdog())]
    notify("READY=1")
    try:
        yield
    finally:
        notify("STOPPING=1")
        for task in tasks:
            task.cancel()
        for task in tasks:
            with contextlib.suppress(asyncio.CancelledError):
                await task
        del app.state.watch
        watch.close()


router = APIRouter(lifespan=_watching)

Sign = Literal["good", "warn", "bad", "plain"]


class BenchLine(Described):
    """One bench as listed."""

    name: str
    ours: bool
    """Whether it is in this workshop's file."""
    kind: Sign
    """The sign its state is shown with."""
    words: str
    """How it stands."""
    run: int | None
    """Number of its newest run."""
    batch: str
    step: str
    """What the run does just now; empty when it is over."""
    bath_c: float | None
    heard: str
    """When its newest sample was taken, UTC, ISO 8601; empty before the first."""


@router.get("/api/benches", tags=["benches"])
def list_benches(request: Request, _signed: Viewer) -> list[BenchLine]:
    """Return every bench of the records and of the workshop's file, with how it stands."""
    return _lines(request)


@router.get("/benches", include_in_schema=False)
def benches_page(request: Request, _signed: Viewer) -> HTMLResponse:
    """Show every bench of the records and of the workshop's file."""
    return page(request, "benches.html", lines=_lines(request), at=frame_of(request).utc())


def benches_of(app: FastAPI) -> Benches:
    """Return how all benches stand: as watched, or by one look where nobody watches."""
    watch: Watch | None = getattr(app.state, "watch", None)
    if watch is not None:
        return watch.benches
    shop = app.state.frame.shop
    benches = Benches(shop.bench_files())
    with closing(Follower(shop.records.place)) as follower:
        benches.take(follower.look())
    return benches


def _lines(request: Request) -> list[BenchLine]:
    frame, benches = frame_of(request), benches_of(request.app)
    ours, now_s, at = frame.shop.bench_files(), benches.clock(), frame.utc()
    return [_line(now, name in ours, now_s, at) for name, now in sorted(benches.now.items())]


def _line(now: BenchNow, ours: bool, now_s: float, at: str) -> BenchLine:
    kind, words = standing(now, now_s)
    step = now.step if now.status == OPEN else ""
    bath_c = None if now.bath_c is None else round(now.bath_c, 1)
    return BenchLine(
        name=now.name,
        ours=ours,
        kind=kind,
        words=words,
        run=now.run_id,
        batch=now.batch or "",
        step=step,
        bath_c=bath_c,
        heard=min(heard_at(now), at),  # a bench faster than life has a clock far ahead
    )


def standing(now: BenchNow, now_s: float) -> tuple[Sign, str]:
    """Return the sign and the words for how a bench stands."""
    if now.trip is not None:
        return "bad", f"tripped: {now.trip.replace('_', ' ')}"
    if now.status == OPEN:
        if now.fresh(now_s):
            return "good", "running"
        return "warn", "no new data: look at the bench itself"
    if now.run_id is None:
        return "plain", "no run yet"
    reason = f": {now.reason}" if now.reason else ""
    return ("plain" if now.status == "done" else "warn"), f"{now.status}{reason}"


def heard_at(now: BenchNow) -> str:
    """Return when the newest sample was taken by the controller's clock since the run began."""
    if now.head is None or now.t_s is None or now.first_s is None or now.t_s < now.first_s:
        return ""  # before the first sample, or the controller's clock began anew
    began = datetime.fromisoformat(now.head.started)
    return (began + timedelta(seconds=now.t_s - now.first_s)).isoformat(timespec="seconds")
