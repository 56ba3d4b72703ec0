"""The Reference-unit page: its control chart and the probes', what they see, recorded causes."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Query
from starlette.requests import Request
from starlette.responses import Response

from proofbath.errors import ProofbathError
from proofbath.web.chart_drawing import drawn
from proofbath.web.deps import Certifier, CurrentShop, CurrentStamp, Viewer
from proofbath.web.shop_views import Given, back, said, tried
from proofbath.web.shop_words import GivenText, shop_page
from proofbath.workshop.chart_view import Charts, charts_of, references
from proofbath.workshop.charts import ChartName, put_cause
from proofbath.workshop.shop import Shop

router = APIRouter(include_in_schema=False)
Text = Annotated[str, Form(max_length=200)]
Name = Annotated[str, Query(max_length=60)]
SAID = {"cause": "The cause is on record; a good run must follow."}
ROWS = 100
"""So many of the newest runs are listed."""


@router.get("/reference")
def reference_page(
    request: Request, shop: CurrentShop, signed: Viewer, bench: Name = "", serial: Name = ""
) -> Response:
    """Show the charts of a bench and one of its reference units."""
    return _shown(request, shop, bench, serial)


@router.post("/reference/cause")
def cause_form(
    request: Request,
    shop: CurrentShop,
    signed: Certifier,
    stamp: CurrentStamp,
    given: Given,
    run: Annotated[int, Form(ge=1, le=2**31 - 1)],
    chart: Annotated[ChartName, Form()],
    cause: Text,
    bench: Text = "",
    serial: Text = "",
) -> Response:
    """Put on record what made a run go out of control."""

    def act() -> Response:
        put_cause(shop, run, chart, cause, stamp)
        return back("/reference", bench=bench, serial=serial, said="cause")

    return tried(act, lambda faults: _shown(request, shop, bench, serial, faults, given))


def _shown(
    request: Request,
    shop: Shop,
    bench: str,
    serial: str,
    faults: tuple[str, ...] = (),
    given: GivenText | None = None,
) -> Response:
    benches, known = [*shop.bench_files()], references(shop)
    bench = bench if bench in benches else next(iter(benches), "")
    charts: Charts | None = None
    try:
        charts = charts_of(shop, bench, serial if serial in known else None) if bench else None
    except ProofbathError as error:
        faults += error.faults
    reference = charts.reference if charts else None
    signs = [
        (name, chart)
        for name, chart in (("reference", reference), ("probes", charts and charts.probes))
        if chart
    ]
    return shop_page(
        request,
        "reference.html",
        422 if faults else 200,
        bench=bench,
        benches=benches,
        references=known,
        charts=charts,
        reference=reference and drawn(reference, "Reference unit", "°C", True),
        probes=charts and drawn(charts.probes, "Bath minus guard probe", "K", False),
        unexplained=[
            (name, point)
            for name, chart in signs
            for point in chart.points
            if point.signal and not point.cause.strip()
        ],
        rows=ROWS,
        faults=faults,
        given=given or GivenText(),
        done=said(SAID, request),
    )
