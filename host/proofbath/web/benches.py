"""All benches of the records on one page: state, run, bath, and when it was last heard of."""

from __future__ import annotations

import asyncio
import contextlib
import math
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, closing

from fastapi import APIRouter, FastAPI, Request
from starlette.responses import HTMLResponse

from proofbath.description import Described
from proofbath.store.journal import OPEN
from proofbath.store.tables import place_key
from proofbath.web.bath_now import Look, bath_now, last_words, standing_of
from proofbath.web.benches_follow import Follower
from proofbath.web.benches_now import Benches, BenchNow
from proofbath.web.benches_watch import Watch
from proofbath.web.deps import Viewer
from proofbath.web.frame import frame_of
from proofbath.web.live_hub import asking
from proofbath.web.live_standing import Sign, Standing
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
    """Bath temperature of now; null where none is known that is younger than 3 s."""
    last_bath_c: float | None
    """The last that is known, however old."""
    age_s: float | None
    """How old that is, seconds."""
    heard: str
    """When that was taken, UTC, ISO 8601; empty before the first."""
    last: str
    """The same in words."""


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
    frame = app.state.frame
    benches = Benches(frame.shop.bench_files(), frame.monotonic_s)
    with closing(Follower(frame.shop.records.place)) as follower:
        benches.take(follower.look())
    return benches


def _lines(request: Request) -> list[BenchLine]:
    frame, benches = frame_of(request), benches_of(request.app)
    ours = frame.shop.bench_files()
    found = []
    for name, now in sorted(benches.now.items()):
        process = asking(frame.shop.bench(name), benches.clock)() if name in ours else None
        look = Look(process, place_key(frame.shop.records.place), benches.clock(), frame.utc())
        found.append(_line(now, name in ours, look))
    return found


def _line(now: BenchNow, ours: bool, look: Look) -> BenchLine:
    bath, found = bath_now(now, look), standing_of(now, look)
    return BenchLine(
        name=now.name,
        ours=ours,
        kind=found.sign,
        words=in_words(now, found),
        run=now.run_id,
        batch=now.batch or "",
        step=now.step if now.status == OPEN else "",
        bath_c=None if bath.bath_c is None else round(bath.bath_c, 1),
        last_bath_c=None if bath.last_c is None else round(bath.last_c, 1),
        age_s=None if math.isinf(bath.age_s) else round(bath.age_s, 1),
        heard=bath.sampled,
        last=last_words(bath),
    )


def in_words(now: BenchNow, found: Standing) -> str:
    """Return what a bench does, and why it ended where it did."""
    if found.word == "ended" and now.trip is not None:
        return f"tripped: {now.trip}".replace("_", " ")
    if found.word == "ended" and now.reason and now.status != "done":
        return f"{found.doing}: {now.reason}".replace("_", " ")
    return found.doing
