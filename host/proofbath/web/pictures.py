"""Pictures made on the server: kept while what they show is the same, never shown to strangers."""

from __future__ import annotations

import hashlib
import threading
from collections import OrderedDict
from collections.abc import Callable

from fastapi import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from proofbath.curve.current_shapes import Shape
from proofbath.workshop.shop import Shop
from proofbath.workshop.unit_curves import (
    MOST,
    measurements,
    overlay_of,
    picture_of,
    shapes_in,
)

SVG = "image/svg+xml"
KEPT = 40
"""Pictures kept in memory; about 100 kB each."""


class Pictures:
    """The last pictures drawn, by what they show; may be asked from any thread."""

    def __init__(self) -> None:
        self._known: OrderedDict[str, bytes] = OrderedDict()
        self._lock = threading.Lock()

    def get(self, tag: str, drawn: Callable[[], bytes]) -> bytes:
        """Return a picture, drawn where it is not known."""
        with self._lock:
            if tag in self._known:
                self._known.move_to_end(tag)
                return self._known[tag]
        data = drawn()
        with self._lock:
            self._known[tag] = data
            while len(self._known) > KEPT:
                self._known.popitem(last=False)
        return data


def unit_picture(request: Request, shop: Shop, serial: str) -> Response:
    """Return a unit's newest curves over one another; 404 where there is none."""
    measured = measurements(shop.records, serial)[-MOST:]
    if not measured:
        raise HTTPException(404, f"{serial}: has no curve yet")
    about = ["unit", serial, *(f"{one.run}:{one.row}" for one in measured)]
    return _answer(request, about, lambda: overlay_of(shop.records, measured))


def run_picture(
    request: Request, shop: Shop, serial: str, run: int, shape: Shape | None = None
) -> Response:
    """Return a unit's curve in one run, or one of its pictures at set currents; 404 for none."""
    measured = [one for one in measurements(shop.records, serial) if one.run == run]
    what = shape or "curve"
    if not measured or (shape is not None and shape not in shapes_in(measured[-1])):
        raise HTTPException(404, f"{serial}: has no {what} in run {run}")
    about = ["run", serial, f"{run}:{measured[-1].row}", what]
    return _answer(request, about, lambda: picture_of(shop.records, measured[-1], shape))


def _answer(request: Request, about: list[str], drawn: Callable[[], bytes]) -> Response:
    """Answer by a picture; the browser may keep it but asks each time whether it is the same."""
    tag = hashlib.sha256("\n".join(about).encode()).hexdigest()[:32]
    headers = {"ETag": f'"{tag}"', "Cache-Control": "private, no-cache"}
    if request.headers.get("if-none-match") == headers["ETag"]:
        return Response(status_code=304, headers=headers)
    return Response(_kept(request).get(tag, drawn), media_type=SVG, headers=headers)


def _kept(request: Request) -> Pictures:
    state = request.app.state
    if not hasattr(state, "pictures"):
        state.pictures = Pictures()
    pictures: Pictures = state.pictures
    return pictures
