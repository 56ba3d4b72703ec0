"""The Calibration page: what is in force at a bench, due, drifting, blocking; what was touched."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Query
from starlette.requests import Request
from starlette.responses import Response

from proofbath.store.kinds import Handling
from proofbath.web.api_bench import known_bench
from proofbath.web.deps import Certifier, CurrentShop, CurrentStamp, Viewer
from proofbath.web.shop_views import Given, Today, back, day_in, said, today, tried
from proofbath.web.shop_words import GivenText, shop_page
from proofbath.wire.table import STATIONS
from proofbath.workshop.calibration_view import calibration_state
from proofbath.workshop.entry import made
from proofbath.workshop.shop import Shop

router = APIRouter(include_in_schema=False)
Text = Annotated[str, Form(max_length=200)]
THINGS = ("fixture", "gauge", "probe", "element channel")
SAID = {"touched": "On record: the calibrations that rest on it end there."}


@router.get("/calibration")
def calibration_page(
    request: Request,
    shop: CurrentShop,
    signed: Viewer,
    bench: Annotated[str, Query(max_length=60)] = "",
) -> Response:
    """Show the calibrations of a bench, the first where none is named."""
    return _shown(request, shop, bench)


@router.post("/calibration/touched")
def touched_form(
    request: Request,
    shop: CurrentShop,
    signed: Certifier,
    stamp: CurrentStamp,
    on: Today,
    given: Given,
    bench: Text,
    what: Text,
    text: Text,
    station: Annotated[int, Form(ge=0, le=STATIONS)] = 0,
    date: Text = "",
) -> Response:
    """Put on record that something was touched."""
    known_bench(shop, bench)

    def act() -> Response:
        day = day_in(date, "day", on)
        fields = {"bench": bench, "station": station, "what": what, "date": day, "text": text}
        shop.records.add(made(Handling, "touched", **fields), stamp)
        return back("/calibration", bench=bench, said="touched")

    return tried(act, lambda faults: _shown(request, shop, bench, faults, given))


def _shown(
    request: Request,
    shop: Shop,
    bench: str,
    faults: tuple[str, ...] = (),
    given: GivenText | None = None,
) -> Response:
    benches = [*shop.bench_files()]
    bench = bench if bench in benches else next(iter(benches), "")
    return shop_page(
        request,
        "calibration.html",
        422 if faults else 200,
        bench=bench,
        benches=benches,
        state=calibration_state(shop, bench, today(request)) if bench else None,
        things=THINGS,
        stations=range(1, STATIONS + 1),
        today=today(request).isoformat(),
        faults=faults,
        given=given or GivenText(),
        done=said(SAID, request),
    )
