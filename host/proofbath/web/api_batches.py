"""The API of batches: opened, units taken in, judged, reworked, failed, agreed to, certified."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal

from fastapi import APIRouter, Depends
from pydantic import Field

from proofbath.description import Described
from proofbath.proof.rework_act import ReworkAct
from proofbath.store.kinds import Findings, Line, Remark
from proofbath.web.access_people_api import Numbered
from proofbath.web.api_shapes import (
    AdviceView,
    LimitSpread,
    advice_view,
    spread_view,
)
from proofbath.web.api_units import Document, Signing
from proofbath.web.deps import Certifier, CurrentShop, CurrentStamp, Number, need
from proofbath.web.shop_views import LARGEST_FILE, Hands, Today, batch_name
from proofbath.workshop import judging
from proofbath.workshop.advice import advice_for
from proofbath.workshop.batch_papers import batch_labels, batch_summary
from proofbath.workshop.batch_view import BatchLine, BatchView, batch_view, batches_listed
from proofbath.workshop.engine_order import ordered_from
from proofbath.workshop.intake import open_batch
from proofbath.workshop.orders import put_order
from proofbath.workshop.papers import Certified, certify
from proofbath.workshop.receiving import receive
from proofbath.workshop.reworking import cancel_rework, put_rework
from proofbath.workshop.shop_statistics import batch_figures
from proofbath.workshop.unit_list import import_units, read_unit_list

router = APIRouter(prefix="/api/batches", tags=["batches"], dependencies=[Depends(need("viewer"))])
Serial = Annotated[str, Field(max_length=40)]


class NewBatch(Described):
    """A customer's batch of one type, judged by the type's newest version; received: today."""

    name: Annotated[str, Field(min_length=1, max_length=60)]
    type: Line
    customer: Line
    address: tuple[Line, ...] = ()
    contact: Remark = ""
    received: dt.date | None = None


class NewIntake(Described):
    """A unit that came in; `new` puts it on record.

    A `correction` says why this whole intake takes the place of the one on record.
    """

    serial: Serial
    cause: Literal["rework", "new", "returned", "complaint"] = "rework"
    findings: Findings = Findings()
    accepted: bool = True
    remark: Remark = ""
    new: bool = False
    correction: Remark = ""


class UnitList(Described):
    """A list of units as CSV with a header; the column serial must be there."""

    csv: Annotated[str, Field(max_length=LARGEST_FILE)]


class NewRework(Described):
    """What was changed on a unit; an element that was opened has its `act`. Date: today.

    An `amount` is mm of setting or mg of clean wax alone, + opens it colder. A `correction` says
    why this takes the place of the unit's last rework. What may be a slip is refused with a
    question until it is `confirmed`.
    """

    serial: Serial
    kind: Literal["wax", "setting", "element", "part", "cleaning", "other"]
    amount: float | None = None
    act: ReworkAct | None = None
    text: Line
    supplier_lot: Remark | None = None
    date: dt.date | None = None
    correction: Remark = ""
    confirmed: bool = False


class NeverDone(Described):
    """A unit whose last rework was never done, and why it was put on record."""

    serial: Serial
    why: Line


class NewOrder(Described):
    """What was ordered of a batch, or of one unit: a lift at a temperature, or for an engine.

    Give `wanted_c` or `engine_c`; without `lift_mm` it is 2 mm, or what the type's logs say. A
    `correction` says why this takes the place of the order that holds.
    """

    wanted_c: float | None = None
    engine_c: float | None = None
    lift_mm: float | None = None
    tolerance_k: float = 2.0
    cap_kpa: float = 0.0
    """With `engine_c`: the pressure cap of the engine's cooling system, above the air's."""
    serial: Serial | None = None
    text: Annotated[str, Field(max_length=200)] = ""
    correction: Remark = ""


class Failure(Described):
    """Why a person fails a unit."""

    serial: Serial
    reason: Line


class CustomerAgreement(Described):
    """Who agreed to a conditional pass for the customer, and where that is written."""

    serial: Serial
    customer: Line
    record: Line


class CertifiedUnit(Described):
    """A unit with its certificate, or what keeps it from one."""

    serial: str
    number: str | None
    new: bool
    refusals: tuple[str, ...]


@router.get("")
def list_batches(shop: CurrentShop) -> list[BatchLine]:
    """List the batches, the last one first."""
    return batches_listed(shop.records)


@router.post("", status_code=201)
def new_batch(shop: CurrentShop, signed: Hands, stamp: CurrentStamp, batch: NewBatch) -> Numbered:
    """Open a batch."""
    received = batch.received or stamp.day
    number = open_batch(
        shop,
        batch.name,
        batch.customer,
        address=batch.address,
        contact=batch.contact,
        received=received,
        type_name=batch.type,
        stamp=stamp,
    )
    return Numbered(number=number)


@router.get("/{number}")
def show_batch(
    shop: CurrentShop, number: Number, today: Today, on: dt.date | None = None
) -> BatchView:
    """Return each unit of a batch judged as of a day: passed or not, why, and what comes next."""
    return batch_view(shop, batch_name(shop, number), on or today)


@router.get("/{number}/advice")
def show_advice(shop: CurrentShop, number: Number) -> list[AdviceView]:
    """Return how much to change on each unit of a batch."""
    advised = advice_for(shop.records, batch_name(shop, number), shop.file.effort)
    return [advice_view(one) for one in advised]


@router.get("/{number}/statistics")
def show_statistics(shop: CurrentShop, number: Number) -> list[LimitSpread]:
    """Return mean, s and range of a batch, as found and as left."""
    return [spread_view(one) for one in batch_figures(shop.records, batch_name(shop, number))]


@router.post("/{number}/intakes", status_code=201)
def put_intake(
    shop: CurrentShop, signed: Hands, stamp: CurrentStamp, number: Number, intake: NewIntake
) -> Numbered:
    """Take a unit into a batch, or refuse it, with what was found on it."""
    name = batch_name(shop, number)
    fields = {key: getattr(intake, key) for key in ("cause", "findings", "accepted", "remark")}
    found = receive(
        shop,
        name,
        intake.serial,
        fields=fields,
        new=intake.new,
        stamp=stamp,
        reason=intake.correction,
    )
    return Numbered(number=found)


@router.post("/{number}/unit-list", status_code=201)
def put_list(
    shop: CurrentShop, signed: Hands, stamp: CurrentStamp, number: Number, units: UnitList
) -> list[Numbered]:
    """Take all units of a list into a batch, or none; every fault of the list is told."""
    lines = read_unit_list(units.csv, "list")
    taken = import_units(shop, batch_name(shop, number), lines, stamp)
    return [Numbered(number=found) for found in taken]


@router.post("/{number}/orders", status_code=201)
def new_order(
    shop: CurrentShop, signed: Hands, stamp: CurrentStamp, number: Number, order: NewOrder
) -> Numbered:
    """Put on record what was ordered of a batch or a unit, apart from the type's marking."""
    name = batch_name(shop, number)
    ordered = ordered_from(
        shop,
        name,
        wanted_c=order.wanted_c,
        engine_c=order.engine_c,
        lift_mm=order.lift_mm,
        tolerance_k=order.tolerance_k,
        text=order.text,
        cap_kpa=order.cap_kpa,
    )
    reason = order.correction.strip()
    found = put_order(shop, name, ordered, serial=order.serial, stamp=stamp, reason=reason)
    return Numbered(number=found)


@router.post("/{number}/reworks", status_code=201)
def new_rework(
    shop: CurrentShop, signed: Hands, stamp: CurrentStamp, number: Number, rework: NewRework
) -> Numbered:
    """Put on record what was changed on a unit after it was measured as found."""
    found = put_rework(
        shop,
        batch_name(shop, number),
        rework.serial,
        date=rework.date or stamp.day,
        kind=rework.kind,
        amount=rework.amount,
        text=rework.text,
        supplier_lot=rework.supplier_lot,
        act=rework.act,
        stamp=stamp,
        reason=rework.correction.strip(),
        confirmed=rework.confirmed,
    )
    return Numbered(number=found)


@router.post("/{number}/reworks/cancelled", status_code=201)
def cancel(
    shop: CurrentShop, signed: Hands, stamp: CurrentStamp, number: Number, said: NeverDone
) -> Numbered:
    """Cancel a unit's last rework, which was never done; it stays on record as cancelled."""
    name = batch_name(shop, number)
    found = cancel_rework(shop, name, said.serial, why=said.why, stamp=stamp)
    return Numbered(number=found)


@router.post("/{number}/failures", status_code=201)
def fail_unit(
    shop: CurrentShop,
    signed: Hands,
    stamp: CurrentStamp,
    number: Number,
    failure: Failure,
) -> Numbered:
    """Fail a measured unit by a person's word: stuck, leaking, never opening."""
    name = batch_name(shop, number)
    found = judging.fail_unit(shop, name, failure.serial, failure.reason, stamp)
    return Numbered(number=found)


@router.post("/{number}/agreements", status_code=201)
def put_agreement(
    shop: CurrentShop,
    signed: Hands,
    stamp: CurrentStamp,
    number: Number,
    said: CustomerAgreement,
) -> Numbered:
    """Record that the customer takes a unit with its conditional pass."""
    name = batch_name(shop, number)
    found = judging.agree(
        shop, name, said.serial, customer=said.customer, record=said.record, stamp=stamp
    )
    return Numbered(number=found)


@router.post("/{number}/certificates")
def certify_batch(
    shop: CurrentShop,
    signed: Certifier,
    stamp: CurrentStamp,
    number: Number,
    signing: Signing,
) -> list[CertifiedUnit]:
    """Judge a batch and issue a certificate for every unit that may have one."""
    name = batch_name(shop, number)
    return [certified(unit) for unit in certify(shop, name, stamp, signing.phrase())]


@router.post("/{number}/summary", status_code=201)
def issue_summary(
    shop: CurrentShop,
    signed: Certifier,
    stamp: CurrentStamp,
    number: Number,
    signing: Signing,
) -> Document:
    """Issue the summary of a batch: every unit, certified or not, with its curve."""
    name = batch_name(shop, number)
    return Document(number=batch_summary(shop, name, stamp, signing.phrase()).stem)


@router.post("/{number}/labels", status_code=201)
def make_labels(shop: CurrentShop, signed: Hands, number: Number) -> Document:
    """Write the labels of a batch's certificates that stand, one a page of 76 mm by 36 mm."""
    return Document(number=batch_labels(shop, batch_name(shop, number)).stem)


def certified(unit: Certified) -> CertifiedUnit:
    """Return what certifying came to for a unit as it is shown."""
    return CertifiedUnit(
        serial=unit.serial, number=unit.number, new=unit.new, refusals=unit.refusals
    )
