"""Shapes of the API's answers that are made of what the proofs and the statistics found.

Names end on their unit: _c °C, _k kelvin, _mm, _s seconds; where a quantity's unit depends on
it, `unit` says so. U is the expanded uncertainty for about 95 %. Null means: not known.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from typing import Any

from pydantic import BaseModel, ConfigDict

from proofbath.proof.engine_state import State
from proofbath.workshop.advice import UnitAdvice
from proofbath.workshop.service import ChosenTarget, UnitService
from proofbath.workshop.service_next import Next, NextAct
from proofbath.workshop.service_words import log_lines, unit_lines
from proofbath.workshop.shop_statistics import Factor, LimitStatistics, TypeStatistics, factor_json
from proofbath.workshop.statistics_words import type_lines


class Shape(BaseModel):
    """What is shown of something larger: more than the named is left out."""

    model_config = ConfigDict(extra="ignore", frozen=True)


class Interval(Shape):
    """What a next run is expected to read: mean and 95 % interval, °C or mm."""

    mean: float
    low: float
    high: float


class TargetOfRework(Shape):
    """What rework aims at: a lift at a temperature, the guard band taken off its limits."""

    wanted_c: float
    lower_c: float
    upper_c: float
    lift_mm: float
    lower_lift_mm: float | None
    full_at_c: float | None
    """Bath in which the least lift is asked for."""


class OpeningForecast(Shape):
    """Where a lift will be reached; null where a stop is in the way."""

    lift_mm: float
    temperature_c: Interval | None


class ReworkForecast(Shape):
    """What the next run will read; `cold_mm` is the free lift at 20 °C, negative is shut."""

    opening: tuple[OpeningForecast, ...]
    at_target_c: Interval
    full_lift_mm: Interval | None
    closing_c: Interval
    hysteresis_k: Interval
    cold_mm: Interval
    pin_stick_out_mm: Interval | None
    mass_in_mg: Interval | None


class AdviceView(Shape):
    """Advice for one unit, or in `refusal` why there is none yet; `lines` say it in words.

    `to_do` is what is to be put on record once it is done; `figure` belongs to the `cause` of
    giving up: mm, K, openings or minutes.
    """

    serial: str
    batch: str
    rounds_done: int
    refusal: str | None
    target: TargetOfRework | None
    target_words: str
    now_c: Interval | None
    """Where the target's lift is reached now."""
    start_now_c: Interval | None
    action: str | None
    to_do: dict[str, Any] | None
    rounds_foreseen: tuple[dict[str, Any], ...]
    forecast: ReworkForecast | None
    chance_inside: float | None
    expected_min: float | None
    cause: str | None
    figure: float | None
    next_act: str
    lines: tuple[str, ...]


class Spread(Shape):
    """Mean, s and range over a batch; `common_u` is what the bench adds to all units alike."""

    units: int
    mean: float
    sd: float | None
    smallest: float
    largest: float
    range: float
    common_u: float | None


class LimitSpread(Shape):
    """One limited quantity over a batch, as found and as left."""

    form: str
    unit: str
    as_found: Spread | None
    as_left: Spread | None


class TrendView(Shape):
    """A straight line over time: slope and 95 % half width per 30 days."""

    slope: float
    half_width: float
    p: float | None


class FactorView(Shape):
    """Groups of one factor compared; p counts all factors looked at."""

    factor: str
    groups: dict[str, int]
    adjusted_p: float | None
    words: str
    trends: dict[str, TrendView]


class CapabilityView(Shape):
    """Capability and tolerance interval, from 30 units on; lower bounds hold with 95 %."""

    units: int
    reason: str | None
    cp: float | None
    cp_lower: float | None
    cpk: float | None
    cpk_lower: float | None
    tolerance_interval: tuple[float | None, float | None] | None
    common_u: float | None


class LimitHistory(Shape):
    """A type's as-left history under one limit."""

    type_name: str
    form: str
    unit: str
    units: int
    capability: CapabilityView
    trend: TrendView | None
    factors: tuple[FactorView, ...]
    lines: tuple[str, ...]
    """The same in words."""


class LogView(Shape):
    """One engine log on record and what it says."""

    number: int
    fitted: dt.date
    logged: dt.date
    engine: str
    state: State
    regulated_c: float | None
    """None unless it regulates."""
    u_c: float | None
    lines: tuple[str, ...]


class OrderView(Shape):
    """An order that would bring the engine where it is wanted: a lift at a bench temperature."""

    lift_mm: float
    was_c: float
    order_c: float


class NextView(Shape):
    """What to do next with a unit in service; `change` where another order would help."""

    act: NextAct
    lines: tuple[str, ...]
    wanted_c: float | None
    off_k: float | None
    change: OrderView | None


class ServiceView(Shape):
    """A unit in service: its logs, the engine against the bench, and what to do next."""

    serial: str
    logs: tuple[LogView, ...]
    bench_c: float | None
    offset_k: float | None
    lines: tuple[str, ...]
    next: NextView


class TargetView(Shape):
    """The start-to-open to set on the bench for a wanted running temperature."""

    type: str
    wanted_c: float
    bench_start_to_open_c: float
    expanded_uncertainty_k: float
    offset_k: float
    units_with_logs: int
    boiling_c: float
    remarks: tuple[str, ...]
    caution: str


def advice_view(one: UnitAdvice) -> AdviceView:
    """Return advice as it is shown."""
    return AdviceView.model_validate(finite(one.to_json()))


def spread_view(one: LimitStatistics) -> LimitSpread:
    """Return a batch's figures as they are shown."""
    parts = {"as_found": one.as_found, "as_left": one.as_left}
    shown = {k: p and p._asdict() | {"range": p.span} for k, p in parts.items()}
    return LimitSpread.model_validate(finite(one._asdict() | shown))


def history_view(one: TypeStatistics) -> LimitHistory:
    """Return a type's figures as they are shown."""
    return LimitHistory.model_validate(finite(one.to_json()) | {"lines": type_lines(one)})


def factor_view(one: Factor) -> FactorView:
    """Return one factor's groups as they are shown."""
    return FactorView.model_validate(finite(factor_json(one)))


def service_view(found: UnitService, then: Next) -> ServiceView:
    """Return a unit's logs as they are shown, and what to do next."""
    return ServiceView(
        serial=found.serial,
        logs=tuple(
            LogView(
                number=log.number,
                fitted=log.fitted,
                logged=log.logged,
                engine=log.engine,
                state=log.condition.state,
                regulated_c=log.findings["regulated_c"] if log.regulates else None,
                u_c=log.findings["u_c"] if log.regulates else None,
                lines=tuple(log_lines(log)),
            )
            for log in found.logs
        ),
        bench_c=found.bench_c,
        offset_k=found.offset_k,
        lines=tuple(unit_lines(found)),
        next=NextView.model_validate(then.to_json()),
    )


def target_view(found: ChosenTarget) -> TargetView:
    """Return a bench target as it is shown."""
    return TargetView(
        type=found.offset.type_name,
        wanted_c=found.wanted_c,
        bench_start_to_open_c=found.target.bench_c,
        expanded_uncertainty_k=found.target.expanded_u_k,
        offset_k=found.offset.offset.mean_k,
        units_with_logs=found.offset.offset.units,
        boiling_c=found.cooling.boiling_c(),
        remarks=found.remarks,
        caution=found.caution,
    )


def finite(value: Any) -> Any:
    """Return a value with null for every number that JSON has none for."""
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {key: finite(part) for key, part in value.items()}
    if isinstance(value, tuple) and hasattr(value, "_asdict"):
        return finite(value._asdict())
    if isinstance(value, list | tuple):
        return [finite(part) for part in value]
    return value
