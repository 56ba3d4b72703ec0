"""`proofbath service`: logs from engines, what they say, and which bench target follows."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import click

from proofbath.bench.clock import utc_text
from proofbath.cli.options import json_option
from proofbath.cli.output import console, print_json
from proofbath.cli.shop_options import by_option, shop_option
from proofbath.files import read_text
from proofbath.proof.cautions import COLD_ONLY
from proofbath.workshop.service import (
    ChosenTarget,
    KeptLog,
    UnitService,
    add_log,
    choose_target,
    unit_service,
)
from proofbath.workshop.service_words import finding_lines, unit_lines
from proofbath.workshop.shop import open_shop

_DAY = click.DateTime(["%Y-%m-%d"])


@click.group()
def command() -> None:
    """Keep engine logs with their units, and choose bench targets by them."""


@command.command()
@click.argument("serial")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--fitted", type=_DAY, required=True, help="Day the unit was fitted.")
@click.option("--logged", type=_DAY, help="Day of the log; today when left out.")
@click.option("--engine", required=True, help="Which engine, in the shop's own words.")
@shop_option
@by_option
@json_option
def add(
    serial: str,
    file: Path,
    fitted: dt.datetime,
    logged: dt.datetime | None,
    engine: str,
    shop_file: Path,
    by: str,
    as_json: bool,
) -> None:
    """Keep the coolant log FILE with unit SERIAL and print what it says.

    FILE is a CSV with the columns t_s and coolant_c from a cold or warm start over at least ten
    minutes of warm running, better an hour with idling and driving.

    Example:  proofbath service add T82-0412 drive.csv --fitted 2025-10-02
    --engine "Kittiwake, port" --by "Ada Quay"
    """
    with open_shop(shop_file) as shop:
        found = add_log(
            shop,
            serial,
            read_text(file),
            name=file.name,
            fitted=fitted.date(),
            engine=engine,
            stamp=shop.stamp(by, utc_text()),
            logged=logged.date() if logged else None,
        )
    if as_json:
        print_json({"serial": serial, **found.to_json()})
        return
    for line in (*finding_lines(found.to_json()), COLD_ONLY):
        console().print(line, markup=False, soft_wrap=True)


@command.command()
@click.argument("serial")
@shop_option
@json_option
def show(serial: str, shop_file: Path, as_json: bool) -> None:
    """Show the logs of unit SERIAL, its offset against the bench, and its drift."""
    with open_shop(shop_file) as shop:
        found = unit_service(shop.records, serial)
    if as_json:
        print_json(_service_json(found))
        return
    for log in found.logs:
        console().print(f"{log.logged}, {log.engine}, fitted {log.fitted}:", markup=False)
        for line in finding_lines(log.findings):
            console().print(f"  {line}", markup=False, soft_wrap=True)
    for line in (*unit_lines(found), COLD_ONLY):
        console().print(line, markup=False, soft_wrap=True)


@command.command()
@click.argument("type_name", metavar="TYPE")
@click.argument("wanted_c", metavar="WANTED_C", type=float)
@click.option(
    "--cap-kpa",
    type=float,
    default=0.0,
    help="Pressure above the air's at which the cooling system's cap opens; 0 when left out: an"
    " open system.",
)
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
    for line in lines:
        console().print(line, markup=False, soft_wrap=True)


def _log_json(log: KeptLog) -> dict[str, Any]:
    return log._asdict() | {"fitted": log.fitted.isoformat(), "logged": log.logged.isoformat()}


def _service_json(found: UnitService) -> dict[str, Any]:
    return found._asdict() | {
        "logs": [_log_json(log) for log in found.logs],
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
