"""Rework of a batch: what is advised, the form for what was done, corrected or cancelled."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, get_args

from fastapi import APIRouter, Form, Query
from starlette.requests import Request
from starlette.responses import Response

from proofbath.errors import InputError, ProofbathError
from proofbath.proof.rework_act import ReworkAct
from proofbath.store.kinds import Batch, Rework, TypeVersion
from proofbath.web.deps import CurrentShop, CurrentStamp, Number, Viewer
from proofbath.web.shop_views import (
    Given,
    Hands,
    Today,
    back,
    batch_name,
    day_in,
    number_in,
    numbered,
    said,
    today,
    tried,
)
from proofbath.web.shop_words import GivenText, shop_page
from proofbath.workshop.advice import UnitAdvice, advice_for
from proofbath.workshop.entry import made
from proofbath.workshop.rework_checks import heat_faults
from proofbath.workshop.rework_form import NUMBERS, Filled, advised, asked_for, fields_of, weighed
from proofbath.workshop.rework_heat import kind_of
from proofbath.workshop.rework_words import rework_in_words
from proofbath.workshop.reworking import Question, cancel_rework, put_rework
from proofbath.workshop.shop import Shop
from proofbath.workshop.story import batch_story

router = APIRouter(include_in_schema=False)
Text = Annotated[str, Form(max_length=2000)]
Serial = Annotated[str, Query(max_length=40)]
REWORKS = get_args(Rework.model_fields["kind"].annotation)
SAID = {
    "corrected": "The correction is on record; what was said before stays there too.",
    "reworked": "The rework is on record; measure the unit as left next.",
    "cancelled": "The unit's last rework is cancelled; it stays on record as such.",
}


@router.get("/batches/{number}/rework")
def rework_page(
    request: Request,
    shop: CurrentShop,
    signed: Viewer,
    number: Number,
    fill: Serial = "",
    correct: Serial = "",
) -> Response:
    """Show what to do to each unit and what it will do, and the form for what was done.

    The form is filled from the advice for a unit, or from its last rework to be corrected.
    """
    stories = batch_story(shop.records, batch_name(shop, number))
    for story in stories:
        serial = story.unit.entry.serial
        if serial == correct and story.last_rework is not None:
            given = _as_given(serial, Filled.of(story.last_rework.entry))
            return _rework(request, shop, number, given=GivenText(given | {"correcting": "yes"}))
        if serial == fill:
            filled, _ = advised(shop.records, _version(shop, number), serial, shop.file.effort)
            if filled is not None:
                return _rework(request, shop, number, given=_as_given(serial, filled))
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
    text: Text = "",
    amount: Text = "",
    supplier_lot: Text = "",
    date: Text = "",
    correction: Text = "",
    confirmed: Text = "",
) -> Response:
    """Put on record what was changed on a unit, or correct what was said of its last rework.

    What may be a slip is asked about: the second press puts it on record.
    """
    name = batch_name(shop, number)

    def act() -> Response:
        called, why = f"rework of {serial}", correction.strip()
        fields = {
            asked.name: value
            for asked in asked_for(shop.records, _version(shop, number))
            if (value := _value(asked.name, asked.words, given[asked.name])) is not None
        }
        if kind != "element" and fields:
            raise InputError(
                f"{called}: what was read on an opened element is no {kind}; say element, or empty"
                " those fields"
            )
        done = made(ReworkAct, called, **weighed(called, fields)) if kind == "element" else None
        put_rework(
            shop,
            name,
            serial,
            date=day_in(date, "day", on),
            kind=kind,
            amount=number_in(amount, "amount"),
            text=text or ("opened and closed" if done else ""),
            supplier_lot=supplier_lot or None,
            act=done,
            stamp=stamp,
            reason=why,
            confirmed=confirmed == "yes",
        )
        return back(f"/batches/{number}/rework", said="corrected" if why else "reworked")

    try:
        return act()
    except Question as question:
        return _rework(request, shop, number, given=given, asked=question.faults)
    except ProofbathError as error:
        return _rework(request, shop, number, error.faults, given)


@router.post("/batches/{number}/rework/cancel")
def cancel_form(
    request: Request,
    shop: CurrentShop,
    signed: Hands,
    stamp: CurrentStamp,
    number: Number,
    serial: Text,
    why: Text = "",
) -> Response:
    """Cancel a unit's last rework, which was never done."""

    def act() -> Response:
        cancel_rework(shop, batch_name(shop, number), serial, why=why, stamp=stamp)
        return back(f"/batches/{number}/rework", said="cancelled")

    return tried(act, lambda faults: _rework(request, shop, number, faults))


def _value(name: str, words: str, text: str) -> Any:
    """Return a field of an act as it was given in a form; None where it is empty."""
    if not text.strip():
        return None
    if name == "bubbles_gone":
        return True
    if name not in NUMBERS:
        return text.strip()
    value = number_in(text, words)
    return int(value) if name == "openings_left" and value is not None else value


def _as_given(serial: str, filled: Filled) -> GivenText:
    """Return what a rework is filled with as its form shows it."""
    usual = ReworkAct().model_dump()
    fields = fields_of(filled, {})
    shown = {name: value for name, value in fields.items() if value != usual[name]}
    if shown.pop("bubbles_gone", False):
        shown["bubbles_gone"] = "yes"
    told: Mapping[str, Any] = {
        "serial": serial,
        "kind": filled.kind,
        "amount": filled.amount,
        "text": filled.text,
        "supplier_lot": filled.supplier_lot,
    }
    shown |= {name: value for name, value in told.items() if value is not None}
    return GivenText(
        {name: f"{v:g}" if isinstance(v, float) else str(v) for name, v in shown.items()}
    )


def _version(shop: Shop, number: int) -> TypeVersion:
    batch = numbered(shop, Batch, number).entry
    return shop.records.one(TypeVersion, batch.type_version_id).entry


def _rework(
    request: Request,
    shop: Shop,
    number: int,
    faults: tuple[str, ...] = (),
    given: GivenText | None = None,
    asked: tuple[str, ...] = (),
) -> Response:
    name, version = batch_name(shop, number), _version(shop, number)
    found, unadvised = list[UnitAdvice](), tuple[str, ...]()
    try:
        found = advice_for(shop.records, name, shop.file.effort)
    except ProofbathError as error:
        unadvised = error.faults
    taken = [s for s in batch_story(shop.records, name) if s.intake.entry.accepted]
    done = {
        s.unit.entry.serial: rework_in_words(s.last_rework.entry)
        for s in taken
        if s.last_rework is not None
    }
    kind = kind_of(shop.records, version)
    return shop_page(
        request,
        "batch_rework.html",
        422 if faults or asked else 200,
        name=name,
        number=number,
        advised=found,
        unadvised=unadvised,
        serials=[story.unit.entry.serial for story in taken],
        kinds=REWORKS,
        opens=kind is None or kind.kind == "refillable",
        act_fields=asked_for(shop.records, version),
        numbers=NUMBERS,
        done_words=done,
        held={serial: heat_faults(shop.records, serial) for serial in done},
        today=today(request).isoformat(),
        faults=faults,
        asked=asked,
        given=given or GivenText(),
        done=said(SAID, request),
    )
