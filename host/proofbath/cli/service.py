"""`proofbath service`: logs from engines, what they say, and which bench target follows."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import click

from proofbath.bench.clock import utc_text
from proofbath.cli.options import json_option
from proofbath.cli.output import console, print_json
from proofbath.cli.shop_options import by_option, shop_option
from proofbath.files import read_text
from proofbath.proof.cautions import COLD_ONLY
from proofbath.proof.log_table import Picks
from proofbath.proof.log_times import DayOrder, TimeUnit
from proofbath.workshop.service import (
    ChosenTarget,
    KeptLog,
    UnitService,
    add_log,
    choose_target,
    unit_service,
)
from proofbath.workshop.service_next import Next, next_of
from proofbath.workshop.service_words import log_lines, unit_lines
from proofbath.workshop.shop import open_shop

_DAY = click.DateTime(["%Y-%m-%d"])


@click.group()
def command() -> None:
    """Keep engine logs with their units, and choose bench targets by them."""


_wanted_option = click.option(
    "--wanted",
    "wanted_c",
    type=float,
    help="What the engine should run at, in °C; what its order says when left out.",
)
_cap_option = click.option(
    "--cap-kpa",
    type=float,
    default=0.0,
    help="Pressure above the air's at which the cooling system's cap opens; 0 when left out: an"
    " open system.",
)


@command.command()
@click.argument("serial")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--fitted", type=_DAY, required=True, help="Day the unit was fitted.")
@click.option(
    "--logged", type=_DAY, help="Day of the log; that of its own stamps, or today, when left out."
)
@click.option("--engine", required=True, help="Which engine, in the shop's own words.")
@click.option("--time-column", default="", help="Header or number (from 1) of the column of times.")
@click.option(
    "--temperature-column",
    default="",
    help="Header or number (from 1) of the column of coolant temperatures.",
)
@click.option(
    "--fahrenheit/--celsius", default=None, help="What the temperatures are in; else by the header."
)
@click.option(
    "--time-unit",
    type=click.Choice([one.value for one in TimeUnit]),
    help="What plain numbers of time count.",
)
@click.option(
    "--day-order",
    type=click.Choice([one.value for one in DayOrder]),
    help="Which comes first in a date.",
)
@_wanted_option
@_cap_option
@shop_option
@by_option
@json_option
def add(
    serial: str,
    file: Path,
    fitted: dt.datetime,
    logged: dt.datetime | None,
    engine: str,
    time_column: str,
    temperature_column: str,
    fahrenheit: bool | None,
    time_unit: str | None,
    day_order: str | None,
    wanted_c: float | None,
    cap_kpa: float,
    shop_file: Path,
    by: str,
    as_json: bool,
) -> None:
    """Keep the coolant log FILE with unit SERIAL, and print what it says and what to do next.

    FILE is a table as loggers write it: commas, semicolons or tabs; decimal points or commas;
    times as numbers, times of day or dates with times; °C or °F; a sample a minute or oftener, from
    a cold or warm start over at least ten minutes of warm running, better an hour with idling and
    driving. What is not plain is asked, and told by an option.

    Example:  proofbath service add T82-0412 drive.csv --fitted 2025-10-02
    --engine "Kittiwake, port" --by "Ada Quay"
    """
    picks = Picks(
        time_column,
        temperature_column,
        fahrenheit,
        TimeUnit(time_unit) if time_unit else None,
        DayOrder(day_order) if day_order else None,
    )
    with open_shop(shop_file) as shop:
        log = add_log(
            shop,
            serial,
            read_text(file),
            name=file.name,
            fitted=fitted.date(),
            engine=engine,
            stamp=shop.stamp(by, utc_text()),
            logged=logged.date() if logged else None,
            picks=picks,
        )
        then = next_of(shop, unit_service(shop.records, serial), wanted_c, cap_kpa)
    if as_json:
        print_json({"serial": serial, **_log_json(log), **_next_json(then)})
        return
    _print([*log_lines(log), *_next_lines(serial, then), COLD_ONLY])


@command.command()
@click.argument("serial")
@_wanted_option
@_cap_option
@shop_option
@json_option
def show(
    serial: str, wanted_c: float | None, cap_kpa: float, shop_file: Path, as_json: bool
) -> None:
    """Show the logs of unit SERIAL, its offset against the bench, its drift, and what to do next.

    Example:  proofbath service show T82-0412 --wanted 86
    """
    with open_shop(shop_file) as shop:
        found = unit_service(shop.records, serial)
        then = next_of(shop, found, wanted_c, cap_kpa)
    if as_json:
        print_json(_service_json(found) | _next_json(then))
        return
    for log in found.logs:
        _print([f"{log.logged}, {log.engine}, fitted {log.fitted}:"])
        _print(f"  {line}" for line in log_lines(log))
    _print([*unit_lines(found), *_next_lines(serial, then), COLD_ONLY])


@command.command()
@click.argument("type_name", metavar="TYPE")
@click.argument("wanted_c", metavar="WANTED_C", type=float)
@_cap_option
@shop_option
@json_option
def target(type_name: str, wanted_c: float, cap_kpa: float, shop_file: Path, as_json: bool) -> None:
    """Give the start-to-open to set on the bench for a wanted running temperature.

    From the usual offset between bench and engine as learnt from the type's logs. Refused beyond
    the type's cap, and within 3 K of where water boils under the cooling system's cap.

    Example:  proofbath service target Teal-82 86
    """
    with open_shop(shop_file) as shop:
        found = choose_target(shop, type_name, wanted_c, cap_kpa)
    if as_json:
        print_json(_target_json(found))
        return
    offset = found.offset.offset
    lines = (
        f"set start-to-open to {found.target.bench_c:.1f} °C on the bench (U"
        f" {found.target.expanded_u_k:.1f} K, k 2) for {wanted_c:g} °C in the engine",
        f"offset {offset.mean_k:+.2f} K, its standard uncertainty {offset.u_mean_k:.2f} K,"
        f" {offset.between_k:.2f} K between engines; units with logs: {offset.units}",
        f"taken: {found.cooling.in_words()}, which boils at {found.cooling.boiling_c():.1f} °C",
        *found.remarks,
        found.caution,
    )
    _print(lines)


def _print(lines: Iterable[str]) -> None:
    for line in lines:
        console().print(line, markup=False, soft_wrap=True)


def _next_lines(serial: str, then: Next) -> list[str]:
    lines = [f"next: {then.lines[0]}", *then.lines[1:]]
    if then.change:
        lines.append(
            "when it comes in again: proofbath batch order BATCH --serial"
            f" {serial} --at {then.change.order_c:.1f} --lift {then.change.lift_mm:g}"
        )
    return lines


def _next_json(then: Next) -> dict[str, Any]:
    return {"next": then.to_json()}


def _log_json(log: KeptLog) -> dict[str, Any]:
    condition = log.condition._asdict() | {"known": log.condition.known._asdict()}
    days = {"fitted": log.fitted.isoformat(), "logged": log.logged.isoformat()}
    return log._asdict() | days | {"condition": condition}


def _service_json(found: UnitService) -> dict[str, Any]:
    return {
        "serial": found.serial,
        "logs": [_log_json(log) for log in found.logs],
        "bench_c": found.bench_c,
        "offset_k": found.offset_k,
        "u_offset_k": found.u_offset_k,
        "drift": found.drift._asdict() if found.drift else None,
        "remarks": found.remarks(),
    }


def _target_json(found: ChosenTarget) -> dict[str, Any]:
    return {
        "type": found.offset.type_name,
        "wanted_c": found.wanted_c,
        "bench_start_to_open_c": found.target.bench_c,
        "expanded_uncertainty": found.target.expanded_u_k,
        "offset": found.offset.offset._asdict(),
        "offsets_k": dict(found.offset.seen),
        "cooling": found.cooling.model_dump(mode="json"),
        "boiling_c": found.cooling.boiling_c(),
        "remarks": list(found.remarks),
        "caution": found.caution,
    }
