"""Units: the list, one unit's whole history with its curves, its engine logs, its comparison."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Query
from starlette.requests import Request
from starlette.responses import Response

from proofbath.curve.current_shapes import Shape
from proofbath.errors import ProofbathError
from proofbath.store.kinds import TypeVersion, Unit
from proofbath.web.deps import Certifier, CurrentShop, CurrentStamp, Number, Viewer
from proofbath.web.pictures import run_picture, unit_picture
from proofbath.web.shop_views import (
    Given,
    Hands,
    Today,
    Uploaded,
    back,
    day_in,
    file_name,
    key_phrase,
    known_unit,
    said,
    text_of,
    today,
    tried,
)
from proofbath.web.shop_words import GivenText, shop_page
from proofbath.workshop.comparison import then_and_now
from proofbath.workshop.documents import documents_of
from proofbath.workshop.entry import made
from proofbath.workshop.intake import add_unit, set_reference
from proofbath.workshop.service import add_log, unit_service
from proofbath.workshop.service_words import finding_lines, unit_lines
from proofbath.workshop.shop import Shop
from proofbath.workshop.unit_view import unit_history, units_listed

router = APIRouter(include_in_schema=False)
Text = Annotated[str, Form(max_length=2000)]
SAID = {
    "added": "The unit is on record.",
    "reference": "The word on the reference unit is on record.",
    "log": "The log is on record with its unit.",
    "compared": "The comparison is issued; it stands under Documents.",
}


@router.get("/units")
def units_page(
    request: Request,
    shop: CurrentShop,
    signed: Viewer,
    search: Annotated[str, Query(max_length=200)] = "",
    type: Annotated[str, Query(max_length=200)] = "",
) -> Response:
    """List the units; search by serial or the customer's mark."""
    return _units(request, shop, search.strip(), type)


@router.post("/units")
def add_form(
    request: Request,
    shop: CurrentShop,
    signed: Hands,
    stamp: CurrentStamp,
    given: Given,
    serial: Text,
    unit_type: Text,
    description: Text = "",
    customer_mark: Text = "",
    supplier_lot: Text = "",
) -> Response:
    """Put a unit on record."""

    def act() -> Response:
        fields = {
            "serial": serial.strip(),
            "unit_type": unit_type,
            "description": description,
            "customer_mark": customer_mark,
            "supplier_lot": supplier_lot or None,
        }
        add_unit(shop, made(Unit, "unit", **fields), stamp)
        return back(f"/units/{serial.strip()}", said="added")

    return tried(act, lambda faults: _units(request, shop, "", "", faults, given))


@router.get("/units/{serial}")
def unit_page(request: Request, shop: CurrentShop, signed: Viewer, serial: str) -> Response:
    """Show all that happened to a unit."""
    return _unit(request, shop, serial)


@router.get("/units/{serial}/curves.svg")
def curves(request: Request, shop: CurrentShop, signed: Viewer, serial: str) -> Response:
    """Show the unit's newest curves over one another."""
    known_unit(shop, serial)
    return unit_picture(request, shop, serial)


@router.get("/units/{serial}/runs/{number}.svg")
def curve(
    request: Request, shop: CurrentShop, signed: Viewer, serial: str, number: Number
) -> Response:
    """Show the unit's curve in one run."""
    known_unit(shop, serial)
    return run_picture(request, shop, serial, number)


@router.get("/units/{serial}/runs/{number}/{shape}.svg")
def at_currents(
    request: Request, shop: CurrentShop, signed: Viewer, serial: str, number: Number, shape: Shape
) -> Response:
    """Show a heated unit's lift over time, or its openings over current, in one run."""
    known_unit(shop, serial)
    return run_picture(request, shop, serial, number, shape)


@router.post("/units/{serial}/reference")
def reference_form(
    request: Request,
    shop: CurrentShop,
    signed: Hands,
    stamp: CurrentStamp,
    on: Today,
    given: Given,
    serial: str,
    since: Text = "",
    text: Text = "",
    in_use: Annotated[bool, Form()] = False,
) -> Response:
    """Make the unit a reference unit from a day on, or end that."""
    known_unit(shop, serial)

    def act() -> Response:
        set_reference(shop, serial, day_in(since, "since", on), text, stamp, in_use)
        return back(f"/units/{serial}", said="reference")

    return tried(act, lambda faults: _unit(request, shop, serial, faults, given))


@router.post("/units/{serial}/service")
def log_form(
    request: Request,
    shop: CurrentShop,
    signed: Hands,
    stamp: CurrentStamp,
    on: Today,
    given: Given,
    serial: str,
    log: Uploaded,
    engine: Text,
    fitted: Text,
    logged: Text = "",
) -> Response:
    """Keep an engine's log with the unit."""
    known_unit(shop, serial)

    def act() -> Response:
        days = day_in(fitted, "fitted", on), day_in(logged, "logged", on)
        name = file_name(log, "log.csv")
        add_log(
            shop,
            serial,
            text_of(log, name),
            name=name,
            fitted=days[0],
            engine=engine,
            stamp=stamp,
            logged=days[1],
        )
        return back(f"/units/{serial}", said="log")

    return tried(act, lambda faults: _unit(request, shop, serial, faults, given))


@router.post("/units/{serial}/comparison")
def compare_form(
    request: Request,
    shop: CurrentShop,
    signed: Certifier,
    stamp: CurrentStamp,
    serial: str,
    passphrase: Text = "",
) -> Response:
    """Issue the page that compares the returned unit with how it left."""
    known_unit(shop, serial)

    def act() -> Response:
        then_and_now(shop, serial, stamp, key_phrase(passphrase))
        return back(f"/units/{serial}", said="compared")

    return tried(act, lambda faults: _unit(request, shop, serial, faults))


def _units(
    request: Request,
    shop: Shop,
    search: str,
    type_name: str,
    faults: tuple[str, ...] = (),
    given: GivenText | None = None,
) -> Response:
    types = sorted({kept.entry.name for kept in shop.records.current(TypeVersion)})
    return shop_page(
        request,
        "units.html",
        422 if faults else 200,
        units=units_listed(shop.records, type_name or None, None, search),
        types=types,
        search=search,
        type_name=type_name,
        faults=faults,
        given=given or GivenText(),
    )


def _unit(
    request: Request,
    shop: Shop,
    serial: str,
    faults: tuple[str, ...] = (),
    given: GivenText | None = None,
) -> Response:
    known_unit(shop, serial)
    history = unit_history(shop.records, serial)
    try:
        service = unit_service(shop.records, serial)
        logs = [(log, finding_lines(log.findings)) for log in service.logs]
        about = unit_lines(service) if service.logs else []
    except ProofbathError as error:  # a type without limits of start-to-open has no logs judged
        logs, about = [], list(error.faults) if history.service_logs else []
    steps = [step for visit in history.batches for step in visit.steps]
    return shop_page(
        request,
        "unit.html",
        422 if faults else 200,
        unit=history,
        heated=[step for step in reversed(steps) if step.currents or step.current_pictures],
        drawn=sum(bool(step.results) for step in steps),
        logs=logs,
        about=about,
        documents=documents_of(shop.records, "then-and-now", serial),
        returned=sum(bool(visit.steps) for visit in history.batches) > 1,
        today=today(request).isoformat(),
        faults=faults,
        given=given or GivenText(),
        done=said(SAID, request),
    )
