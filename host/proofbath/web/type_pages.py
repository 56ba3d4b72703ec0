"""Unit types: figures and limits, what their numbers say, and bench targets for engines."""

from __future__ import annotations

from typing import Annotated

import tomlkit
from fastapi import APIRouter, Query
from starlette.requests import Request
from starlette.responses import Response

from proofbath.description import parse_toml
from proofbath.errors import InputError, ProofbathError
from proofbath.store.kinds import TypeVersion
from proofbath.web.api_types import known_type, type_state
from proofbath.web.deps import Certifier, CurrentShop, CurrentStamp, Viewer
from proofbath.web.shop_views import Uploaded, back, file_name, said, text_of, tried
from proofbath.web.shop_words import shop_page
from proofbath.workshop.batch_view import limits_text
from proofbath.workshop.intake import TypeFile, put_type
from proofbath.workshop.service import choose_target
from proofbath.workshop.shop import Shop
from proofbath.workshop.shop_statistics import compare_types, type_figures
from proofbath.workshop.statistics_words import type_lines

router = APIRouter(include_in_schema=False)
Name = Annotated[str, Query(max_length=200)]
SAID = {"kept": "The type is on record."}


@router.get("/batches/types")
def types_page(request: Request, shop: CurrentShop, signed: Viewer) -> Response:
    """List the types, and how they differ from one another."""
    return _types(request, shop)


@router.post("/batches/types")
def type_form(
    request: Request, shop: CurrentShop, signed: Certifier, stamp: CurrentStamp, type: Uploaded
) -> Response:
    """Put a type, or a higher version of it, on record from its file."""

    def act() -> Response:
        called = file_name(type, "type.toml")
        type_file = parse_toml(text_of(type, called), TypeFile, called)
        put_type(shop, type_file, stamp)
        return back("/batches/types/one", name=type_file.unit_type.name, said="kept")

    return tried(act, lambda faults: _types(request, shop, faults))


@router.get("/batches/types/one")
def type_page(
    request: Request,
    shop: CurrentShop,
    signed: Viewer,
    name: Name,
    wanted_c: Annotated[str, Query(max_length=20)] = "",
    cap_kpa: Annotated[str, Query(max_length=20)] = "",
) -> Response:
    """Show a type: figures, limits, statistics, and the target for a running temperature."""
    state, faults, target = known_type(shop, name), tuple[str, ...](), None
    if wanted_c.strip():
        try:
            cap = _number(cap_kpa, "pressure cap", "kPa") if cap_kpa.strip() else 0.0
            target = choose_target(shop, name, _number(wanted_c, "wanted", "degrees"), cap)
        except ProofbathError as error:
            faults = error.faults
    return shop_page(
        request,
        "type.html",
        422 if faults else 200,
        state=state,
        limits=[(li.called(), limits_text(li)) for li in state.type_file.specification.limit],
        statistics=[type_lines(one) for one in type_figures(shop.records, name)],
        toml=tomlkit.dumps(state.type_file.model_dump(mode="json", exclude_none=True)),
        wanted_c=wanted_c,
        cap_kpa=cap_kpa,
        target=target,
        faults=faults,
        done=said(SAID, request),
    )


def _types(request: Request, shop: Shop, faults: tuple[str, ...] = ()) -> Response:
    names = dict.fromkeys(kept.entry.name for kept in shop.records.current(TypeVersion))
    compared = compare_types(shop.records)
    return shop_page(
        request,
        "types.html",
        422 if faults else 200,
        types=[type_state(shop, name) for name in names],
        compared=compared,
        faults=faults,
    )


def _number(text: str, what: str, unit: str) -> float:
    try:
        return float(text.replace(",", "."))
    except ValueError:
        raise InputError(f"{what}: {text[:20]!r} is no number; type {unit}") from None
