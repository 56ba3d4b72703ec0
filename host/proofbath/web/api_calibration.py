"""The API of what results rest on: a bench's calibrations and its control charts."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal

from fastapi import APIRouter, Depends, Query
from pydantic import Field

from proofbath.description import Described
from proofbath.store.kinds import Handling, Line
from proofbath.web.access_people_api import Numbered
from proofbath.web.api_bench import BenchName, known_bench
from proofbath.web.deps import (
    Certifier,
    CurrentShop,
    CurrentStamp,
    need,
)
from proofbath.web.shop_views import Today
from proofbath.workshop.calibration_view import CalibrationState, calibration_state
from proofbath.workshop.chart_view import Charts, charts_of
from proofbath.workshop.charts import ChartName, put_cause

router = APIRouter(prefix="/api", tags=["calibration"], dependencies=[Depends(need("viewer"))])
Serial = Annotated[str, Query(max_length=40)]


class Touched(Described):
    """Something at a bench was touched that a calibration rests on; station 0 means all."""

    what: Literal["fixture", "gauge", "probe", "element channel"]
    station: Annotated[int, Field(ge=0, le=6)] = 0
    date: dt.date | None = None
    text: Line


class Cause(Described):
    """What made a run go out of control on a chart."""

    run: Annotated[int, Field(ge=1, le=2**31 - 1)]
    chart: ChartName
    cause: Line


@router.get("/calibration")
def show_calibration(
    shop: CurrentShop, today: Today, name: BenchName, on: dt.date | None = None
) -> CalibrationState:
    """Return what is in force at a bench on a day, what is due, and what keeps from certifying."""
    known_bench(shop, name)
    return calibration_state(shop, name, on or today)


@router.post("/calibration/touched", status_code=201)
def put_touched(
    shop: CurrentShop,
    signed: Certifier,
    stamp: CurrentStamp,
    today: Today,
    name: BenchName,
    touched: Touched,
) -> Numbered:
    """Put on record that something was touched: the calibrations that rest on it end there."""
    known_bench(shop, name)
    said = touched.model_dump() | {"date": touched.date or today}
    return Numbered(number=shop.records.add(Handling(bench=name, **said), stamp))


@router.get("/charts")
def show_charts(shop: CurrentShop, name: BenchName, serial: Serial | None = None) -> Charts:
    """Return the reference unit's chart (the one in use where none is named) and the probes'."""
    known_bench(shop, name)
    return charts_of(shop, name, serial)


@router.post("/charts/causes", status_code=201)
def put_chart_cause(
    shop: CurrentShop, signed: Certifier, stamp: CurrentStamp, cause: Cause
) -> Numbered:
    """Put on record what made a run go out of control; a good run must follow."""
    return Numbered(number=put_cause(shop, cause.run, cause.chart, cause.cause, stamp))
