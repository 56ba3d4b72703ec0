"""Units: the list, one unit's whole history with its curves, its engine logs, its comparison."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, TypeVar

from fastapi import APIRouter, Form, Query
from starlette.requests import Request
from starlette.responses import Response

from proofbath.curve.current_shapes import Shape
from proofbath.errors import InputError
from proofbath.proof.log_table import Picks
from proofbath.proof.log_times import DayOrder, TimeUnit
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
    number_in,
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
from proofbath.workshop.service_next import next_of
from proofbath.workshop.service_words import log_lines, unit_lines
from proofbath.workshop.shop import Shop
from proofbath.workshop.unit_view import unit_history, units_listed

router = APIRouter(include_in_schema=False)
Text = Annotated[str, Form(max_length=2000)]
Asked = Annotated[str, Query(max_length=20)]
E = TypeVar("E", bound=StrEnum)
BY_HEADER = "as the file says"
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
def unit_page(
    request: Request,
    shop: CurrentShop,
    signed: Viewer,
    serial: str,
    wanted_c: Asked = "",
    cap_kpa: Asked = "",
) -> Response:
    """Show all that happened to a unit; and for a wanted running temperature, what to change."""
    return _unit(request, shop, serial, asked=(wanted_c, cap_kpa))


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
    time_column: Text = "",
    temperature_column: Text = "",
    degrees: Text = BY_HEADER,
    time_unit: Text = BY_HEADER,
    day_order: Text = BY_HEADER,
) -> Response:
    """Keep an engine's log with the unit."""
    known_unit(shop, serial)

    def act() -> Response:
        name = file_name(log, "log.csv")
        add_log(
            shop,
            serial,
            text_of(log, name),
            name=name,
            fitted=day_in(fitted, "fitted", on),
            engine=engine,
            stamp=stamp,
            logged=day_in(logged, "logged", on) if logged.strip() else None,
            picks=Picks(
                time_column.strip(),
                temperature_column.strip(),
                {"°C": False, "°F": True}.get(degrees),
                _chosen(TimeUnit, time_unit, "time unit"),
                _chosen(DayOrder, day_order, "day order"),
            ),
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


def _chosen(kind: type[E], given: str, called: str) -> E | None:
    if given == BY_HEADER:
        return None
    try:
        return kind(given)
    except ValueError:
        raise InputError(f"{called}: {given[:40]!r} is none; choose from the list") from None


def _unit(
    request: Request,
    shop: Shop,
    serial: str,
    faults: tuple[str, ...] = (),
    given: GivenText | None = None,
    asked: tuple[str, str] = ("", ""),
) -> Response:
    known_unit(shop, serial)
    history = unit_history(shop.records, serial)
    service = unit_service(shop.records, serial)
    try:
        wanted_c = number_in(asked[0], "wanted")
        cap_kpa = number_in(asked[1], "pressure of the cap") or 0.0
        then = next_of(shop, service, wanted_c, cap_kpa).lines if service.logs else ()
    except InputError as error:
        then, faults = (), (*faults, *error.faults)
    steps = [step for visit in history.batches for step in visit.steps]
    return shop_page(
        request,
        "unit.html",
        422 if faults else 200,
        unit=history,
        heated=[step for step in reversed(steps) if step.currents or step.current_pictures],
        drawn=sum(bool(step.results) for step in steps),
        logs=[(log, log_lines(log)) for log in service.logs],
        about=unit_lines(service) if service.logs else [],
        then=then,
        asked=asked,
        picked={
            "degrees": (BY_HEADER, "°C", "°F"),
            "time_unit": (BY_HEADER, *TimeUnit),
            "day_order": (BY_HEADER, *DayOrder),
        },
        documents=documents_of(shop.records, "then-and-now", serial),
        returned=sum(bool(visit.steps) for visit in history.batches) > 1,
        today=today(request).isoformat(),
        faults=faults,
        given=given or GivenText(),
        done=said(SAID, request),
    )
