"""The start page: the list for the evening, the units of last night for the morning."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from proofbath.web.deps import CurrentShop, CurrentStamp, Viewer
from proofbath.web.shop_views import Hands, back, said
from proofbath.web.shop_words import shop_page
from proofbath.web.start_view import start_state
from proofbath.workshop.keeping import keep_missing

router = APIRouter(include_in_schema=False)
SAID = {"kept": "The results are on record now."}


@router.get("/")
def start_page(request: Request, shop: CurrentShop, signed: Viewer) -> Response:
    """Show what there is to do: this morning, this evening, and at each bench."""
    state = start_state(request, shop)
    return shop_page(request, "start.html", state=state, done=said(SAID, request))


@router.post("/keep")
def keep(shop: CurrentShop, signed: Hands, stamp: CurrentStamp) -> Response:
    """Put on record what runs have measured whose process ended before it could."""
    keep_missing(shop, stamp)
    return back("/", said="kept")
