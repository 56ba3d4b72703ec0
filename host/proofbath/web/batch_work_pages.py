"""Units of a batch taken in: one by one, by a list, or corrected."""

from __future__ import annotations

from typing import Annotated, Any, get_args

from fastapi import APIRouter, Form, Query
from starlette.requests import Request
from starlette.responses import Response

from proofbath.store.kinds import Batch, Finding, Findings, Intake, TypeVersion
from proofbath.web.deps import CurrentShop, CurrentStamp, Number, Viewer
from proofbath.web.shop_views import (
    Given,
    Hands,
    Uploaded,
    back,
    batch_name,
    file_name,
    number_in,
    numbered,
    said,
    text_of,
    tried,
)
from proofbath.web.shop_words import GivenText, shop_page
from proofbath.workshop.entry import made
from proofbath.workshop.receiving import receive
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
SAID = {
    "taken": "The intake is on record; take the next unit in.",
    "list": "All units of the list are taken in.",
    "corrected": "The correction is on record; what was said before stays there too.",
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
