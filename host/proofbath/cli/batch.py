"""`proofbath batch`: a customer's units from the day they come in until they are handed over."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import click

from proofbath.bench.clock import utc_text
from proofbath.cli.batch_intake import intake
from proofbath.cli.batch_order import order
from proofbath.cli.batch_plan import plan
from proofbath.cli.batch_rework import cancel, rework
from proofbath.cli.batch_tables import batch_list_table, print_batch
from proofbath.cli.options import json_option
from proofbath.cli.output import console, print_json
from proofbath.cli.shop_options import by_option, shop_option
from proofbath.files import read_text
from proofbath.store.kinds import Batch, TypeVersion
from proofbath.workshop import judging
from proofbath.workshop.batch_view import batch_view, batches_listed
from proofbath.workshop.entry import day_of
from proofbath.workshop.intake import open_batch
from proofbath.workshop.shop import open_shop
from proofbath.workshop.unit_list import import_units, read_unit_list

_DAY = click.DateTime(["%Y-%m-%d"])


@click.group()
def command() -> None:
    """Take a batch of units in, plan its nights, and see who passed and what comes next."""


for _verb in (intake, order, rework, cancel, plan):
    command.add_command(_verb)


@command.command(name="open")
@click.argument("name")
@click.option("--type", "type_name", required=True, help="Unit type of the whole batch.")
@click.option("--customer", required=True, help="Who sent it; printed on the certificates.")
@click.option("--address", multiple=True, help="A line of the customer's address; repeat it.")
@click.option("--contact", default="", help="Telephone or mail.")
@click.option("--received", type=_DAY, help="Day it came in; today when left out.")
@by_option
@shop_option
@json_option
def open_command(
    name: str,
    type_name: str,
    customer: str,
    address: tuple[str, ...],
    contact: str,
    received: dt.datetime | None,
    by: str,
    shop_file: Path,
    as_json: bool,
) -> None:
    """Open batch NAME, judged by its type's specification as it stands today.

    Example:  proofbath batch open "ferry 12" --type Teal-82 --customer "River Ferry Ltd"
    --address "Pier 2" --by "Ada Quay"
    """
    at = utc_text()
    day = received.date() if received else day_of(at)
    with open_shop(shop_file) as shop:
        stamp = shop.stamp(by, at)
        number = open_batch(
            shop,
            name,
            customer,
            address=address,
            contact=contact,
            received=day,
            type_name=type_name,
            stamp=stamp,
        )
        root = shop.records.find(Batch, name=name).entry.type_version_id
        version = shop.records.one(TypeVersion, root).entry.version
    if as_json:
        print_json({"batch": name, "number": number, "type": type_name, "version": version})
    else:
        text = f"{name}: open, judged by {type_name} version {version}; take its units in"
        console().print(text, markup=False, soft_wrap=True)


@command.command(name="import")
@click.argument("name")
@click.argument("file", type=click.Path(path_type=Path))
@by_option
@shop_option
@json_option
def import_command(name: str, file: Path, by: str, shop_file: Path, as_json: bool) -> None:
    """Take all units of a list into batch NAME, or none of them.

    FILE is a CSV with a column serial and, as far as known, description, customer_mark,
    supplier_lot, cause, accepted (yes or no), remark, the findings, heater_ohm, insulation_mohm.
    Units that are new here are put on record. All faults of the list are told at once.

    Example:  proofbath batch import "ferry 12" units.csv --by "Ada Quay"
    """
    lines = read_unit_list(read_text(file), str(file))
    with open_shop(shop_file) as shop:
        taken = import_units(shop, name, lines, shop.stamp(by, utc_text()))
    refused = [line.serial for line in lines if not line.accepted]
    if as_json:
        serials = [line.serial for line in lines]
        print_json({"batch": name, "serials": serials, "refused": refused, "intakes": taken})
    else:
        text = f"{name}: {len(taken) - len(refused)} units taken in, {len(refused)} refused"
        console().print(text, markup=False)


@command.command()
@click.argument("name")
@click.option("--on", type=_DAY, help="Judged as of this day; today when left out.")
@shop_option
@json_option
def show(name: str, on: dt.datetime | None, shop_file: Path, as_json: bool) -> int:
    """Show each unit of batch NAME: measured, passed or not and why, and what to do next.

    Writes nothing. Exit status 1 where a unit was judged to fail.

    Example:  proofbath batch show "ferry 12"
    """
    day = on.date() if on else day_of(utc_text())
    with open_shop(shop_file) as shop:
        batch = batch_view(shop, name, day)
    if as_json:
        print_json(batch.model_dump(mode="json"))
    else:
        print_batch(batch)
    return 1 if any(unit.failed for unit in batch.units) else 0


@command.command(name="list")
@shop_option
@json_option
def list_command(shop_file: Path, as_json: bool) -> None:
    """List the batches, the last one first.

    Example:  proofbath batch list
    """
    with open_shop(shop_file) as shop:
        batches = [line.model_dump(mode="json") for line in batches_listed(shop.records)]
    if as_json:
        print_json({"batches": batches})
    else:
        console().print(batch_list_table(batches))


@command.command()
@click.argument("name")
@click.argument("serial")
@click.option("--reason", required=True, help="What is wrong with it.")
@by_option
@shop_option
@json_option
def fail(name: str, serial: str, reason: str, by: str, shop_file: Path, as_json: bool) -> None:
    """Fail unit SERIAL of batch NAME by a person's word: stuck, leaking, never opening.

    Example:  proofbath batch fail "ferry 12" T82-0412 --reason "stuck shut" --by "Ada Quay"
    """
    at = utc_text()
    with open_shop(shop_file) as shop:
        number = judging.fail_unit(shop, name, serial, reason, shop.stamp(by, at))
    _told(as_json, f"{serial}: failed; give it back", serial, number)


@command.command()
@click.argument("name")
@click.argument("serial")
@click.option("--customer", required=True, help="Who agreed, for the customer.")
@click.option("--record", required=True, help="Where that is written: letter, mail, its date.")
@by_option
@shop_option
@json_option
def agree(
    name: str, serial: str, customer: str, record: str, by: str, shop_file: Path, as_json: bool
) -> None:
    """Record that the customer takes unit SERIAL of batch NAME with its conditional pass.

    Example:  proofbath batch agree "ferry 12" T82-0412 --customer "J. Ness" --record "mail of
    2 October" --by "Ada Quay"
    """
    at = utc_text()
    with open_shop(shop_file) as shop:
        stamp = shop.stamp(by, at)
        number = judging.agree(shop, name, serial, customer=customer, record=record, stamp=stamp)
    _told(as_json, f"{serial}: the customer's agreement is on record", serial, number)


def _told(as_json: bool, text: str, serial: str, decision: int) -> None:
    if as_json:
        print_json({"serial": serial, "decision": decision})
    else:
        console().print(text, markup=False, soft_wrap=True)
