"""Every page of the application, at an address where it has something to show."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager

import httpx
from fastapi.routing import APIRoute

from proofbath.scenario.ferry import BENCH, REFERENCE
from proofbath.web.routers import routers
from system.web_shop import EVERYBODY, PASSWORD, TOLD, WAITING, Served

NO_PAGES = (".svg", "/documents/{name}", "/metrics", "/health")
"""Pictures, files, and what programs ask for."""


@contextmanager
def asking(workshop: Served, name: str = EVERYBODY) -> Iterator[httpx.Client]:
    """Yield a client of the API, signed in; it sends the token with every change."""
    with httpx.Client(base_url=workshop.address, timeout=60) as client:
        who = {"name": name, "password": PASSWORD}
        answer = client.post("/api/session", json=who).raise_for_status()
        client.headers["X-Proofbath-Token"] = answer.json()["token"]
        yield client


def places(workshop: Served) -> dict[str, str]:
    """Return an address for the path of each page."""
    with asking(workshop) as client:
        batches = {line["batch"]: line["number"] for line in client.get("/api/batches").json()}
        certified = client.get("/api/certificates").json()
    told, number = batches[TOLD], certified[0]["number"]
    serial = certified[0]["serial"]
    found = {
        "/sign-in": "/sign-in",
        "/": "/",
        "/bench": f"/bench?name={BENCH}",
        "/benches": "/benches",
        "/night": f"/night?bench={BENCH}&batch={WAITING}",
        "/units": "/units",
        "/units/{serial}": f"/units/{serial}",
        "/batches": "/batches",
        "/batches/{number}": f"/batches/{told}",
        "/batches/{number}/intake": f"/batches/{told}/intake",
        "/batches/{number}/rework": f"/batches/{told}/rework",
        "/batches/{number}/statistics": f"/batches/{told}/statistics",
        "/batches/types": "/batches/types",
        "/batches/types/one": "/batches/types/one?name=Teal-82",
        "/batches/certificates": "/batches/certificates",
        "/batches/certificates/{number}": f"/batches/certificates/{number}",
        "/calibration": f"/calibration?name={BENCH}",
        "/reference": f"/reference?name={BENCH}&serial={REFERENCE}",
        "/settings": "/settings",
        "/settings/people": "/settings/people",
        "/settings/record": "/settings/record",
        "/api": "/api",
    }
    assert {*found} == page_paths()
    return found | {"missing": "/units/never-heard-of"}


def page_paths() -> set[str]:
    """Return the paths of all pages that the application has."""
    routes = [one for router in routers() for one in router.routes if isinstance(one, APIRoute)]
    pages = [
        r.path for r in routes if "GET" in (r.methods or ()) and not r.path.startswith("/api/")
    ]
    return {path for path in pages if not path.endswith(NO_PAGES)}


def file_name(path: str) -> str:
    """Return a name of a page's path that a file may have."""
    return re.sub(r"[^a-z]+", "-", path).strip("-") or "start"
