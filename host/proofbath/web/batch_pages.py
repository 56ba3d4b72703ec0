"""Batches: the list, one batch judged with what comes next, and all that ends a unit's way."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form
from starlette.requests import Request
from starlette.responses import FileResponse, Response

from proofbath.run.plan import Stage
from proofbath.store.kinds import TypeVersion
from proofbath.web.deps import Certifier, CurrentShop, CurrentStamp, Number, Viewer
from proofbath.web.security import safe_child
from proofbath.web.shop_views import (
    Given,
    Hands,
    Today,
    back,
    batch_name,
    day_in,
    key_phrase,
    number_in,
    said,
    today,
    tried,
)
from proofbath.web.shop_words import GivenText, shop_page
from proofbath.workshop import judging
from proofbath.workshop.batch_papers import batch_labels, batch_summary
from proofbath.workshop.batch_view import BatchView, batch_view, batches_listed, counted
from proofbath.workshop.documents import documents_of
from proofbath.workshop.engine_order import ordered_from
from proofbath.workshop.intake import open_batch
from proofbath.workshop.next_step import STAGES
from proofbath.workshop.orders import put_order
from proofbath.workshop.papers import certify
from proofbath.workshop.shop import Shop
from proofbath.workshop.shop_statistics import batch_figures
from proofbath.workshop.snapshot import Snapshot
from proofbath.workshop.story import Step, batch_story

router = APIRouter(include_in_schema=False)
Text = Annotated[str, Form(max_length=2000)]
SAID = {
    "opened": "The batch is open; take its units in.",
    "certified": "Certified: each unit that may have a certificate has one now.",
    "none": "No unit may have a certificate now; why stands beside each.",
    "summary": "The summary is issued; it stands under Documents.",
    "labels": "The labels are written; they stand under Documents.",
    "failed": "The unit is failed; give it back.",
    "agreed": "The customer's agreement is on record.",
    "ordered": "The order is on record; units are judged, planned and certified by it from now on.",
}


@router.get("/batches")
def batches_page(request: Request, shop: CurrentShop, signed: Viewer) -> Response:
    """List the batches, the last one first."""
    return _batches(request, shop)


@router.post("/batches")
def open_form(
    request: Request,
    shop: CurrentShop,
    signed: Hands,
    stamp: CurrentStamp,
    on: Today,
    given: Given,
    name: Text,
    type_name: Text,
    customer: Text,
    address: Text = "",
    contact: Text = "",
    received: Text = "",
) -> Response:
    """Open a batch, judged by the newest version of its type."""

    def act() -> Response:
        lines = [line.strip() for line in address.splitlines() if line.strip()]
        day = day_in(received, "received", on)
        number = open_batch(
            shop,
            name.strip(),
            customer.strip(),
            address=lines,
            contact=contact,
            received=day,
            type_name=type_name,
            stamp=stamp,
        )
        return back(f"/batches/{number}", said="opened")

    return tried(act, lambda faults: _batches(request, shop, faults, given))


@router.get("/batches/{number}")
def batch_page(request: Request, shop: CurrentShop, signed: Viewer, number: Number) -> Response:
    """Show who passed, who did not and why, and what to do next with each unit."""
    return _batch(request, shop, number)


@router.get("/batches/{number}/statistics")
def statistics_page(
    request: Request, shop: CurrentShop, signed: Viewer, number: Number
) -> Response:
    """Show mean, s and range of the batch as found and as left."""
    name = batch_name(shop, number)
    figures = batch_figures(shop.records, name)
    return shop_page(request, "batch_statistics.html", name=name, number=number, figures=figures)


@router.get("/batches/{number}/runs/{run}.svg")
def run_curves(shop: CurrentShop, signed: Viewer, number: Number, run: Number) -> FileResponse:
    """Show the curves of all units of one of the batch's nights."""
    batch_name(shop, number)
    path = safe_child(shop.nights / f"run-{run}", "curves.svg")
    headers = {"Cache-Control": "private, no-cache"}
    return FileResponse(path, media_type="image/svg+xml", headers=headers)


@router.post("/batches/{number}/certify")
def certify_form(
    request: Request,
    shop: CurrentShop,
    signed: Certifier,
    stamp: CurrentStamp,
    number: Number,
    passphrase: Text = "",
) -> Response:
    """Judge the batch and issue a certificate for every unit that may have one."""
    name = batch_name(shop, number)

    def act() -> Response:
        units = certify(shop, name, stamp, key_phrase(passphrase))
        word = "certified" if any(unit.new for unit in units) else "none"
        return back(f"/batches/{number}", said=word)

    return tried(act, lambda faults: _batch(request, shop, number, faults))


@router.post("/batches/{number}/summary")
def summary_form(
    request: Request,
    shop: CurrentShop,
    signed: Certifier,
    stamp: CurrentStamp,
    number: Number,
    passphrase: Text = "",
) -> Response:
    """Issue the summary of the batch as it stands."""
    name = batch_name(shop, number)

    def act() -> Response:
        batch_summary(shop, name, stamp, key_phrase(passphrase))
        return back(f"/batches/{number}", said="summary")

    return tried(act, lambda faults: _batch(request, shop, number, faults))


@router.post("/batches/{number}/labels")
def labels_form(request: Request, shop: CurrentShop, signed: Hands, number: Number) -> Response:
    """Write the labels of the certificates that stand."""
    name = batch_name(shop, number)

    def act() -> Response:
        batch_labels(shop, name)
        return back(f"/batches/{number}", said="labels")

    return tried(act, lambda faults: _batch(request, shop, number, faults))


@router.post("/batches/{number}/fail")
def fail_form(
    request: Request,
    shop: CurrentShop,
    signed: Hands,
    stamp: CurrentStamp,
    given: Given,
    number: Number,
    serial: Text,
    reason: Text,
) -> Response:
    """Fail a measured unit by a person's word."""
    name = batch_name(shop, number)

    def act() -> Response:
        judging.fail_unit(shop, name, serial, reason, stamp)
        return back(f"/batches/{number}", said="failed")

    return tried(act, lambda faults: _batch(request, shop, number, faults, given))


@router.post("/batches/{number}/agree")
def agree_form(
    request: Request,
    shop: CurrentShop,
    signed: Hands,
    stamp: CurrentStamp,
    given: Given,
    number: Number,
    serial: Text,
    customer: Text,
    record: Text,
) -> Response:
    """Record that the customer takes a unit with its conditional pass."""
    name = batch_name(shop, number)

    def act() -> Response:
        judging.agree(shop, name, serial, customer=customer, record=record, stamp=stamp)
        return back(f"/batches/{number}", said="agreed")

    return tried(act, lambda faults: _batch(request, shop, number, faults, given))


@router.post("/batches/{number}/order")
def order_form(
    request: Request,
    shop: CurrentShop,
    signed: Hands,
    stamp: CurrentStamp,
    given: Given,
    number: Number,
    wanted_c: Text = "",
    engine_c: Text = "",
    lift_mm: Text = "",
    tolerance_k: Text = "",
    cap_kpa: Text = "",
    serial: Text = "",
    text: Text = "",
    correction: Text = "",
) -> Response:
    """Put on record what was ordered of the batch, or of one unit, apart from the marking."""
    name = batch_name(shop, number)

    def act() -> Response:
        tolerance = number_in(tolerance_k, "tolerance")
        ordered = ordered_from(
            shop,
            name,
            wanted_c=number_in(wanted_c, "temperature"),
            engine_c=number_in(engine_c, "engine"),
            lift_mm=number_in(lift_mm, "lift"),
            tolerance_k=2.0 if tolerance is None else tolerance,
            text=text,
            cap_kpa=number_in(cap_kpa, "pressure cap") or 0.0,
        )
        why, whose = correction.strip(), serial.strip() or None
        put_order(shop, name, ordered, serial=whose, stamp=stamp, reason=why)
        return back(f"/batches/{number}", said="ordered")

    return tried(act, lambda faults: _batch(request, shop, number, faults, given))


def _batches(
    request: Request,
    shop: Shop,
    faults: tuple[str, ...] = (),
    given: GivenText | None = None,
) -> Response:
    return shop_page(
        request,
        "batches.html",
        422 if faults else 200,
        batches=batches_listed(shop.records),
        types=sorted({kept.entry.name for kept in shop.records.current(TypeVersion)}),
        today=today(request).isoformat(),
        faults=faults,
        given=given or GivenText(),
    )


def _batch(
    request: Request,
    shop: Shop,
    number: int,
    faults: tuple[str, ...] = (),
    given: GivenText | None = None,
) -> Response:
    name = batch_name(shop, number)
    batch = batch_view(shop, name, today(request))
    labels = shop.certificates / f"labels-batch-{number}.pdf"
    return shop_page(
        request,
        "batch.html",
        422 if faults else 200,
        batch=batch,
        counted={where: count for where, count in counted(batch.units).items() if count},
        runs=_runs(shop, name),
        next_stages=_next_stages(batch),
        summaries=documents_of(shop.records, "summary", name),
        labels=labels.name if labels.is_file() else "",
        faults=faults,
        given=given or GivenText(),
        done=said(SAID, request),
    )


def _next_stages(batch: BatchView) -> dict[Stage, list[str]]:
    """Return which units are to be measured next, by stage."""
    found: dict[Stage, list[str]] = {}
    for unit in batch.units:
        if stage := STAGES.get(unit.next_code):
            found.setdefault(stage, []).append(unit.serial)
    return found


def _runs(shop: Shop, name: str) -> list[Step]:
    """Return a measurement of each of the batch's nights whose picture is there, newest first."""
    found = dict[int, Step]()
    for story in batch_story(Snapshot(shop.records), name):
        for step in story.steps:
            run = step.station_run.entry.run_id if step.station_run else 0
            if run and (shop.nights / f"run-{run}" / "curves.svg").is_file():
                found.setdefault(run, step)
    return [found[run] for run in sorted(found, reverse=True)]
