"""Work on the units of a batch: taken in one by one or by a list, and reworked as advised."""

from __future__ import annotations

from typing import Annotated, Any, get_args

from fastapi import APIRouter, Form, Query
from starlette.requests import Request
from starlette.responses import Response

from proofbath.errors import ProofbathError
from proofbath.store.kinds import Batch, Finding, Findings, Intake, Rework, TypeVersion
from proofbath.web.deps import CurrentShop, CurrentStamp, Number, Viewer
from proofbath.web.shop_views import (
    Given,
    Hands,
    Today,
    Uploaded,
    back,
    batch_name,
    day_in,
    file_name,
    number_in,
    numbered,
    said,
    text_of,
    today,
    tried,
)
from proofbath.web.shop_words import GivenText, shop_page
from proofbath.workshop.advice import UnitAdvice, advice_for
from proofbath.workshop.entry import made
from proofbath.workshop.receiving import receive
from proofbath.workshop.reworking import put_rework
from proofbath.workshop.shop import Shop
from proofbath.workshop.story import batch_story
from proofbath.workshop.unit_list import COLUMNS, import_units, read_unit_list

router = APIRouter(include_in_schema=False)
Text = Annotated[str, Form(max_length=2000)]
MEASURED = ("heater_ohm", "insulation_mohm")
LOOKED_AT = tuple(name for name in Findings.model_fields if name not in MEASURED)
FINDINGS = get_args(Finding)
NOT_LOOKED = "not looked at"
CAUSES = get_args(Intake.model_fields["cause"].annotation)
REWORKS = get_args(Rework.model_fields["kind"].annotation)
SAID = {
    "taken": "The intake is on record; take the next unit in.",
    "list": "All units of the list are taken in.",
    "corrected": "The correction is on record; what was said before stays there too.",
    "reworked": "The rework is on record; measure the unit as left next.",
}


@router.get("/batches/{number}/intake")
def intake_page(
    request: Request,
    shop: CurrentShop,
    signed: Viewer,
    number: Number,
    correct: Annotated[str, Query(max_length=40)] = "",
) -> Response:
    """Show what was taken in, and the forms to take more in, or to correct what is on record."""
    for story in batch_story(shop.records, batch_name(shop, number)):
        if story.unit.entry.serial == correct:
            return _intake(request, shop, number, given=_as_given(correct, story.intake.entry))
    return _intake(request, shop, number)


@router.post("/batches/{number}/intake")
def intake_form(
    request: Request,
    shop: CurrentShop,
    signed: Hands,
    stamp: CurrentStamp,
    given: Given,
    number: Number,
    serial: Text,
    cause: Text = "rework",
    remark: Text = "",
    correction: Text = "",
    accepted: Text = "yes",
    new: Annotated[bool, Form()] = False,
    all_good: Annotated[bool, Form()] = False,
) -> Response:
    """Take a unit in, or refuse it, with what was found on it."""
    name = batch_name(shop, number)

    def act() -> Response:
        unseen = "good" if all_good else NOT_LOOKED
        said_of = {what: given[what] or NOT_LOOKED for what in LOOKED_AT}
        looked: dict[str, Any] = {
            what: unseen if how == NOT_LOOKED else how for what, how in said_of.items()
        }
        read = {what: number_in(given[what], what.replace("_", " ")) for what in MEASURED}
        fields = {
            "cause": cause,
            "findings": made(Findings, serial, **looked, **read),
            "accepted": accepted == "yes",
            "remark": remark,
        }
        receive(shop, name, serial.strip(), fields=fields, new=new, stamp=stamp, reason=correction)
        word = "corrected" if correction.strip() else "taken"
        return back(f"/batches/{number}/intake", said=word)

    return tried(act, lambda faults: _intake(request, shop, number, faults, given))


@router.post("/batches/{number}/list")
def list_form(
    request: Request,
    shop: CurrentShop,
    signed: Hands,
    stamp: CurrentStamp,
    number: Number,
    units: Uploaded,
) -> Response:
    """Take all units of a list in, or none; every fault of the list is told."""
    name = batch_name(shop, number)

    def act() -> Response:
        called = file_name(units, "list.csv")
        import_units(shop, name, read_unit_list(text_of(units, called), called), stamp)
        return back(f"/batches/{number}/intake", said="list")

    return tried(act, lambda faults: _intake(request, shop, number, faults))


@router.get("/batches/{number}/rework")
def rework_page(request: Request, shop: CurrentShop, signed: Viewer, number: Number) -> Response:
    """Show how much to change on each unit and what it will do, and the form for what was done."""
    return _rework(request, shop, number)


@router.post("/batches/{number}/rework")
def rework_form(
    request: Request,
    shop: CurrentShop,
    signed: Hands,
    stamp: CurrentStamp,
    on: Today,
    given: Given,
    number: Number,
    serial: Text,
    kind: Text,
    text: Text,
    amount: Text = "",
    supplier_lot: Text = "",
    date: Text = "",
    correction: Text = "",
) -> Response:
    """Put on record what was changed on a unit, or correct what was said of its last rework."""
    name = batch_name(shop, number)

    def act() -> Response:
        day, much = day_in(date, "day", on), number_in(amount, "amount")
        lot, why = supplier_lot or None, correction.strip()
        put_rework(
            shop,
            name,
            serial,
            date=day,
            kind=kind,
            amount=much,
            text=text,
            supplier_lot=lot,
            stamp=stamp,
            reason=why,
        )
        word = "corrected" if why else "reworked"
        return back(f"/batches/{number}/rework", said=word)

    return tried(act, lambda faults: _rework(request, shop, number, faults, given))


def _as_given(serial: str, intake: Intake) -> GivenText:
    """Return an intake on record as its form was filled, to be corrected."""
    found = {name: how for name, how in intake.findings if how is not None}
    said_then = {
        "serial": serial,
        "cause": intake.cause,
        "remark": intake.remark,
        "accepted": "yes" if intake.accepted else "no",
        "correcting": "yes",
    }
    return GivenText(said_then | {name: str(how) for name, how in found.items()})


def _intake(
    request: Request,
    shop: Shop,
    number: int,
    faults: tuple[str, ...] = (),
    given: GivenText | None = None,
) -> Response:
    batch = numbered(shop, Batch, number).entry
    version = shop.records.one(TypeVersion, batch.type_version_id).entry
    return shop_page(
        request,
        "batch_intake.html",
        422 if faults else 200,
        name=batch.name,
        number=number,
        type=version.name,
        heated=version.unit_type.element_ohm is not None,
        stories=batch_story(shop.records, batch.name),
        looked_at=LOOKED_AT,
        findings=FINDINGS,
        causes=CAUSES,
        columns=COLUMNS,
        faults=faults,
        given=given or GivenText(),
        done=said(SAID, request),
    )


def _rework(
    request: Request,
    shop: Shop,
    number: int,
    faults: tuple[str, ...] = (),
    given: GivenText | None = None,
) -> Response:
    name = batch_name(shop, number)
    advised, unadvised = list[UnitAdvice](), tuple[str, ...]()
    try:
        advised = advice_for(shop.records, name, shop.file.effort)
    except ProofbathError as error:
        unadvised = error.faults
    return shop_page(
        request,
        "batch_rework.html",
        422 if faults else 200,
        name=name,
        number=number,
        advised=advised,
        unadvised=unadvised,
        serials=[
            story.unit.entry.serial
            for story in batch_story(shop.records, name)
            if story.intake.entry.accepted
        ],
        kinds=REWORKS,
        today=today(request).isoformat(),
        faults=faults,
        given=given or GivenText(),
        done=said(SAID, request),
    )
