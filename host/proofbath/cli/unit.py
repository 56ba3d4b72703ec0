"""`proofbath unit`: units and unit types on record, and one unit's history across the years."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import click

from proofbath.bench.clock import utc_text
from proofbath.cli.options import json_option
from proofbath.cli.output import console, print_json
from proofbath.cli.shop_options import by_option, shop_option
from proofbath.cli.unit_tables import print_history, unit_list_table
from proofbath.files import read_toml
from proofbath.proof.cautions import RETARGETING
from proofbath.store.kinds import Unit
from proofbath.workshop.entry import day_of, made
from proofbath.workshop.intake import TypeFile, add_unit, newest_type, put_type, set_reference
from proofbath.workshop.shop import open_shop
from proofbath.workshop.unit_view import unit_history, units_listed


@click.group()
def command() -> None:
    """Keep units and unit types on record, and show a unit's history."""


@command.command()
@click.argument("serial")
@click.option("--type", "unit_type", required=True, help="Its unit type, on record already.")
@click.option("--description", default="", help="What else tells it from others.")
@click.option("--mark", default="", help="The customer's own mark on it.")
@click.option("--lot", help="Lot of its element, or of the whole unit, as far as known.")
@by_option
@shop_option
@json_option
def add(
    serial: str,
    unit_type: str,
    description: str,
    mark: str,
    lot: str | None,
    by: str,
    shop_file: Path,
    as_json: bool,
) -> None:
    """Put unit SERIAL on record; it keeps that serial for good.

    Example:  proofbath unit add T82-0412 --type Teal-82 --mark "port engine" --by "Ada Quay"
    """
    unit = made(
        Unit,
        f"unit {serial}",
        serial=serial,
        unit_type=unit_type,
        description=description,
        customer_mark=mark,
        supplier_lot=lot,
    )
    with open_shop(shop_file) as shop:
        number = add_unit(shop, unit, shop.stamp(by, utc_text()))
    _told(as_json, f"{serial}: on record as a {unit_type}", serial=serial, number=number)


@command.command()
@click.argument("serial")
@shop_option
@json_option
def show(serial: str, shop_file: Path, as_json: bool) -> None:
    """Show all that happened to unit SERIAL, across batches and years.

    Intake, nights and results with U, rework, decisions, certificates, hand measurements, engines.

    Example:  proofbath unit show T82-0412
    """
    with open_shop(shop_file) as shop:
        found = unit_history(shop.records, serial)
    if as_json:
        print_json(found.model_dump(mode="json"))
    else:
        print_history(found)


@command.command(name="list")
@click.option("--type", "unit_type", help="Only those of a type.")
@click.option("--batch", help="Only those of a batch.")
@shop_option
@json_option
def list_command(unit_type: str | None, batch: str | None, shop_file: Path, as_json: bool) -> None:
    """List the units on record with their last batch and certificate.

    Example:  proofbath unit list --type Teal-82
    """
    with open_shop(shop_file) as shop:
        listed = units_listed(shop.records, unit_type, batch)
    units = [unit.model_dump(mode="json") for unit in listed]
    if as_json:
        print_json({"units": units})
    else:
        console().print(unit_list_table(units))


@command.command(name="type")
@click.argument("file", type=click.Path(path_type=Path))
@by_option
@shop_option
@json_option
def type_command(file: Path, by: str, shop_file: Path, as_json: bool) -> None:
    """Put the unit type of FILE on record: its figures, limits, and how it is reworked.

    FILE is TOML with [unit_type], [specification] and perhaps [rework]. A change needs a higher
    specification version; batches keep the version they were opened with. A certifier does it.

    Example:  proofbath unit type teal_82.toml --by "Ada Quay"
    """
    type_file = read_toml(file, TypeFile)
    name = type_file.unit_type.name
    with open_shop(shop_file) as shop:
        number = put_type(shop, type_file, shop.stamp(by, utc_text()))
        version = newest_type(shop.records, name).entry.version
    text = f"type {name}: version {version} is on record"
    _told(as_json, text, name=name, version=version, number=number, caution=RETARGETING)
    if not as_json:
        console().print(RETARGETING, markup=False, soft_wrap=True)


@command.command()
@click.argument("serial")
@click.option("--since", type=click.DateTime(["%Y-%m-%d"]), help="From this day on; today else.")
@click.option("--text", default="", help="Where it is kept, how it is sealed.")
@click.option("--retire", is_flag=True, help="It is a reference unit no longer.")
@by_option
@shop_option
@json_option
def reference(
    serial: str,
    since: dt.datetime | None,
    text: str,
    retire: bool,
    by: str,
    shop_file: Path,
    as_json: bool,
) -> None:
    """Make unit SERIAL a reference unit: sealed, measured every night, on a chart of its own.

    Its chart begins anew on that day.

    Example:  proofbath unit reference T82-REF --text "sealed, in the bench's drawer" --by Ada
    """
    at = utc_text()
    day = since.date() if since else day_of(at)
    with open_shop(shop_file) as shop:
        stamp = shop.stamp(by, at)
        number = set_reference(shop, serial, day, text, stamp, in_use=not retire)
    state = "no longer a reference unit" if retire else "reference unit"
    _told(as_json, f"{serial}: {state} since {day}", serial=serial, number=number)


def _told(as_json: bool, text: str, **shown: object) -> None:
    if as_json:
        print_json(dict(shown))
    else:
        console().print(text, markup=False, soft_wrap=True)
