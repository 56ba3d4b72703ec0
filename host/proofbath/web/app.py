"""The web application: gate, shared state, errors, static files, and the routers of all pages."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from importlib import metadata
from typing import Any

from fastapi import Depends, FastAPI
from starlette.staticfiles import StaticFiles

from proofbath.bench.clock import Clock, monotonic_s, utc_text
from proofbath.description import Described
from proofbath.store.access import Access
from proofbath.web.deps import audited, csrf_checked
from proofbath.web.errors import tell_errors
from proofbath.web.frame import Frame
from proofbath.web.limits import SignInDelays
from proofbath.web.logging_json import RequestLog
from proofbath.web.password import Passwords
from proofbath.web.routers import routers
from proofbath.web.security import Gate
from proofbath.web.sessions import Sessions
from proofbath.web.templating import FOLDER
from proofbath.workshop.shop import Shop

ABOUT = (
    "Everything the pages do. Sign in by POST /api/session: its answer sets the session's cookie"
    " and gives the token that goes with every change as the header X-Proofbath-Token."
)


class Faults(Described):
    """Why a request was refused: what, measured, limit, what to do."""

    faults: tuple[str, ...]


def make_app(
    shop: Shop,
    passwords: Passwords | None = None,
    utc: Callable[[], str] = utc_text,
    clock: Clock = monotonic_s,
    virtual_speed: float | None = None,
) -> FastAPI:
    """Return the application of an open workshop; its access is closed when it shuts down."""
    access = Access(shop.records.place)
    app = FastAPI(
        title="proofbath",
        version=metadata.version("proofbath"),
        description=ABOUT,
        responses={"4XX": {"model": Faults, "description": "Refused: one line a fault"}},
        docs_url=None,
        redoc_url=None,
        openapi_url=None,
        lifespan=_closing(access),
        dependencies=[Depends(csrf_checked), Depends(audited)],
    )
    app.state.frame = Frame(
        shop,
        access,
        passwords or Passwords(),
        Sessions(access, shop.records, shop.file.serve, utc),
        SignInDelays(clock),
        utc,
        clock,
        virtual_speed,
    )
    for router in routers():
        app.include_router(router)
    app.mount("/static", StaticFiles(directory=FOLDER / "static"), name="static")
    tell_errors(app)
    app.add_middleware(Gate, settings=shop.file.serve)
    app.add_middleware(RequestLog)
    return app


def _closing(access: Access) -> Any:
    @asynccontextmanager
    async def lifespan(_app: FastAPI) -> AsyncIterator[None]:
        try:
            yield
        finally:
            access.close()

    return lifespan
