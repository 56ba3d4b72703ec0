"""The API of unit types: their figures and limits, what their numbers say, bench targets."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, HTTPException, Query
from pydantic import Field

from proofbath.description import Described, parse_toml
from proofbath.store.kinds import TypeVersion
from proofbath.web.api_shapes import (
    FactorView,
    LimitHistory,
    TargetView,
    factor_view,
    history_view,
    target_view,
)
from proofbath.web.deps import Certifier, CurrentShop, CurrentStamp, need
from proofbath.workshop.intake import TypeFile, newest_type, put_type
from proofbath.workshop.service import choose_target
from proofbath.workshop.shop import Shop
from proofbath.workshop.shop_statistics import compare_types, type_figures

router = APIRouter(prefix="/api", tags=["types"], dependencies=[Depends(need("viewer"))])
LARGEST_TYPE = 100_000


class TypeText(Described):
    """A unit type as TOML: [unit_type], [specification] and perhaps [rework]."""

    toml: Annotated[str, Field(max_length=LARGEST_TYPE)]


class TypeState(Described):
    """A unit type on record, in its newest version."""

    name: str
    number: int
    version: int
    type_file: TypeFile


@router.get("/types")
def list_types(shop: CurrentShop) -> list[TypeState]:
    """Return the unit types on record, each in its newest version."""
    names = dict.fromkeys(kept.entry.name for kept in shop.records.current(TypeVersion))
    return [type_state(shop, name) for name in names]


@router.post("/types", status_code=201)
def put_type_text(
    shop: CurrentShop, signed: Certifier, stamp: CurrentStamp, text: TypeText
) -> TypeState:
    """Put a type, or a higher version of it, on record; batches keep the version they have."""
    type_file = parse_toml(text.toml, TypeFile, "type")
    put_type(shop, type_file, stamp)
    return type_state(shop, type_file.unit_type.name)


@router.get("/type")
def show_type(shop: CurrentShop, name: Annotated[str, Query(max_length=200)]) -> TypeState:
    """Return one type in its newest version."""
    return known_type(shop, name)


@router.get("/type/statistics")
def type_statistics(
    shop: CurrentShop, name: Annotated[str, Query(max_length=200)]
) -> list[LimitHistory]:
    """Return what the as-left history of a type carries, and what it could not show."""
    known_type(shop, name)
    return [history_view(one) for one in type_figures(shop.records, name)]


@router.get("/type/target")
def bench_target(
    shop: CurrentShop,
    name: Annotated[str, Query(max_length=200)],
    wanted_c: Annotated[float, Query(description="°C in the engine")],
    cap_kpa: Annotated[
        float, Query(description="kPa above the air's at which the cooling system's cap opens")
    ] = 0.0,
) -> TargetView:
    """Return the start-to-open to set on the bench for a wanted running temperature."""
    known_type(shop, name)
    return target_view(choose_target(shop, name, wanted_c, cap_kpa))


@router.get("/types/statistics")
def types_statistics(shop: CurrentShop) -> FactorView | None:
    """Compare all types by how far units left from the middle of their limits, K."""
    found = compare_types(shop.records)
    return factor_view(found) if found else None


def known_type(shop: Shop, name: str) -> TypeState:
    """Return a type by its name; 404 where there is none."""
    if not shop.records.current(TypeVersion, name=name):
        raise HTTPException(404, f"type {name[:60]!r}: not on record")
    return type_state(shop, name)


def type_state(shop: Shop, name: str) -> TypeState:
    """Return a type's newest version as it is shown."""
    kept = newest_type(shop.records, name)
    entry = kept.entry
    type_file = TypeFile(
        unit_type=entry.unit_type, specification=entry.specification, rework=entry.rework_kind
    )
    return TypeState(name=name, number=kept.root, version=entry.version, type_file=type_file)
