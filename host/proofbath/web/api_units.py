"""The API of units: on record, whole history, curves, advice, reference units, engine logs."""

from __future__ import annotations

import datetime as dt
from typing import Annotated

from fastapi import APIRouter, Depends, Query
from pydantic import Field
from starlette.requests import Request
from starlette.responses import Response

from proofbath.description import Described
from proofbath.proof.engine_cooling import CAP_MOST_KPA
from proofbath.proof.log_table import Picks
from proofbath.proof.log_times import DayOrder, TimeUnit
from proofbath.store.kinds import Line, Remark, Unit
from proofbath.web.access_people_api import Numbered
from proofbath.web.api_shapes import (
    AdviceView,
    ServiceView,
    advice_view,
    service_view,
)
from proofbath.web.deps import Certifier, CurrentShop, CurrentStamp, need
from proofbath.web.pictures import unit_picture
from proofbath.web.shop_views import LARGEST_FILE, Hands, known_unit
from proofbath.workshop.advice import advice_for
from proofbath.workshop.comparison import then_and_now
from proofbath.workshop.intake import add_unit, set_reference
from proofbath.workshop.service import add_log, unit_service
from proofbath.workshop.service_next import next_of
from proofbath.workshop.unit_view import UnitHistory, UnitLine, unit_history, units_listed

router = APIRouter(prefix="/api/units", tags=["units"], dependencies=[Depends(need("viewer"))])
Text = Annotated[str, Query(max_length=200)]
Picked = Annotated[str, Field(max_length=200)]
Wanted = Annotated[float | None, Query(ge=0, le=200, description="What the engine should run at")]
CapKpa = Annotated[
    float, Query(ge=0, le=CAP_MOST_KPA, description="Pressure of the radiator's cap")
]
Passphrase = Annotated[str, Field(max_length=1000)]
SVG = "image/svg+xml"


class ReferenceState(Described):
    """From which day on a unit is a reference unit, or is one no longer; its chart begins anew."""

    since: dt.date
    in_use: bool = True
    text: Remark = ""


class EngineLog(Described):
    """A coolant log as a logger writes it; what is not plain in it is refused with a question.

    A column is named by its header or by its number from 1.
    """

    csv: Annotated[str, Field(max_length=LARGEST_FILE)]
    file: Line
    fitted: dt.date
    logged: dt.date | None = None
    engine: Line
    time_column: Picked = ""
    temperature_column: Picked = ""
    fahrenheit: bool | None = None
    time_unit: TimeUnit | None = None
    day_order: DayOrder | None = None

    def picks(self) -> Picks:
        """Return what was said of how to read it."""
        return Picks(*(getattr(self, name) for name in Picks._fields))


class Signing(Described):
    """What unlocks the signing key, where it has a passphrase."""

    passphrase: Passphrase | None = None

    def phrase(self) -> bytes | None:
        """Return it as bytes."""
        return self.passphrase.encode() if self.passphrase else None


class Document(Described):
    """A document that was issued; its files are /api/documents/NUMBER.pdf and NUMBER.json."""

    number: str


@router.get("")
def list_units(
    shop: CurrentShop, search: Text = "", type: Text | None = None, batch: Text | None = None
) -> list[UnitLine]:
    """List the units on record, those of a type or batch, or whose serial or mark holds a text."""
    return units_listed(shop.records, type, batch, search)


@router.post("", status_code=201)
def put_unit(shop: CurrentShop, signed: Hands, stamp: CurrentStamp, unit: Unit) -> Numbered:
    """Put a unit on record; it keeps its serial for good."""
    return Numbered(number=add_unit(shop, unit, stamp))


@router.get("/{serial}")
def show_unit(shop: CurrentShop, serial: str) -> UnitHistory:
    """Return all that happened to a unit, across batches and years."""
    known_unit(shop, serial)
    return unit_history(shop.records, serial)


@router.get(
    "/{serial}/curves.svg",
    response_class=Response,
    responses={200: {"content": {SVG: {}}, "description": "Lift (mm) against bath (°C)"}},
)
def show_curves(request: Request, shop: CurrentShop, serial: str) -> Response:
    """Return the unit's opening curves of its newest measurements, overlaid, as a picture."""
    known_unit(shop, serial)
    return unit_picture(request, shop, serial)


@router.get("/{serial}/advice")
def show_advice(shop: CurrentShop, serial: str) -> AdviceView:
    """Return how much to change on a unit, from its latest result and all rounds of its type."""
    known_unit(shop, serial)
    return advice_view(advice_for(shop.records, serial, shop.file.effort)[0])


@router.put("/{serial}/reference", status_code=201)
def put_reference(
    shop: CurrentShop, signed: Hands, stamp: CurrentStamp, serial: str, state: ReferenceState
) -> Numbered:
    """Make a unit a reference unit from a day on, or end that."""
    known_unit(shop, serial)
    number = set_reference(shop, serial, state.since, state.text, stamp, state.in_use)
    return Numbered(number=number)


@router.get("/{serial}/service")
def show_service(
    shop: CurrentShop, serial: str, wanted_c: Wanted = None, cap_kpa: CapKpa = 0.0
) -> ServiceView:
    """Return the logs from a unit's engines, what they say, and what to do next."""
    known_unit(shop, serial)
    found = unit_service(shop.records, serial)
    return service_view(found, next_of(shop, found, wanted_c, cap_kpa))


@router.post("/{serial}/service", status_code=201)
def put_log(
    shop: CurrentShop, signed: Hands, stamp: CurrentStamp, serial: str, log: EngineLog
) -> ServiceView:
    """Keep an engine's log with its unit, and return what all of its logs say."""
    known_unit(shop, serial)
    add_log(
        shop,
        serial,
        log.csv,
        name=log.file,
        fitted=log.fitted,
        engine=log.engine,
        stamp=stamp,
        logged=log.logged,
        picks=log.picks(),
    )
    found = unit_service(shop.records, serial)
    return service_view(found, next_of(shop, found))


@router.post("/{serial}/comparison", status_code=201)
def compare_unit(
    shop: CurrentShop,
    signed: Certifier,
    stamp: CurrentStamp,
    serial: str,
    signing: Signing,
) -> Document:
    """Issue the page that compares a returned unit as found with how it left last."""
    known_unit(shop, serial)
    pdf = then_and_now(shop, serial, stamp, signing.phrase())
    return Document(number=pdf.stem)
