"""`proofbath batch rework` and `cancel-rework`: what was changed on a unit, or never was."""

from __future__ import annotations

import datetime as dt
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import click
from click.decorators import FC

from proofbath.cli.options import json_option, utc_now
from proofbath.cli.output import console, print_json
from proofbath.cli.rework_guide import ask_hands
from proofbath.cli.shop_options import by_option, shop_option
from proofbath.errors import InputError
from proofbath.proof.rework_act import ReworkAct
from proofbath.store.kinds import TypeVersion
from proofbath.store.records import Stamp
from proofbath.workshop.entry import made
from proofbath.workshop.rework_checks import heat_faults
from proofbath.workshop.rework_form import (
    ASKED,
    NUMBERS,
    Filled,
    advised,
    asked_for,
    fields_of,
    usual_kind,
    weighed,
)
from proofbath.workshop.rework_heat import kind_of
from proofbath.workshop.reworking import Question, cancel_rework, put_rework
from proofbath.workshop.shop import Shop, open_shop
from proofbath.workshop.story import UnitStory, story_in

_YES = "say --yes where it is so; nothing is on record yet"


class _Said(NamedTuple):
    """What was said on the command line of what was done."""

    kind: str | None
    amount: float | None
    text: str
    lot: str | None
    act: dict[str, Any]
    as_advised: bool
    reason: str
    yes: bool


def _act_options(command: FC) -> FC:
    """Give a verb an option for each field of an act."""
    command = click.option(
        "--not-opened", "opened", flag_value=False, default=None, type=bool, help="Shims alone."
    )(command)
    for asked in reversed(ASKED):
        hint = f" {asked.hint[:1].upper()}{asked.hint[1:]}." if asked.hint else ""
        kind: dict[str, Any] = {"type": float if asked.name in NUMBERS else str}
        if asked.name == "openings_left":
            kind = {"type": int}
        if asked.name == "bubbles_gone":
            kind = {"is_flag": True, "default": None}
        name = f"--{asked.name.replace('_', '-')}"
        command = click.option(name, asked.name, help=f"{asked.words}.{hint}", **kind)(command)
    return command


@click.command()
@click.argument("name")
@click.argument("serial")
@click.option(
    "--kind",
    type=click.Choice(["element", "wax", "setting", "part", "cleaning", "other"]),
    help="What was changed; as the type is reworked when left out.",
)
@click.option("--amount", type=float, help="mg of clean wax or mm of setting; + opens it colder.")
@click.option("--text", default="", help="What was done, in words.")
@click.option("--lot", help="Lot of the wax or the part.")
@click.option("--as-advised", is_flag=True, help="Done as proofbath rework says.")
@_act_options
@click.option(
    "--correct",
    "reason",
    default="",
    help="Corrects its last rework: say why. What is not said stays as it was.",
)
@click.option("--date", type=click.DateTime(["%Y-%m-%d"]), help="Day of it; today else.")
@click.option(
    "--yes", is_flag=True, help="Nothing is asked: what is left out was not read, and it is so."
)
@by_option
@shop_option
@json_option
def rework(
    name: str,
    serial: str,
    kind: str | None,
    amount: float | None,
    text: str,
    lot: str | None,
    as_advised: bool,
    reason: str,
    date: dt.datetime | None,
    yes: bool,
    by: str,
    shop_file: Path,
    as_json: bool,
    **act: Any,
) -> None:
    """Put on record what was changed on unit SERIAL of batch NAME, after it was measured as found.

    An element that was opened is put on record by what balance, pin and caliper showed. Without
    any of it, or with --as-advised, you are asked one thing after the other.

    Example:  proofbath batch rework "ferry 12" T82-0412 --as-advised --by "Ada Quay"
    """
    at = utc_now()
    said = _Said(kind, amount, text, lot, act, as_advised, reason, yes)
    with open_shop(shop_file) as shop:
        stamp = shop.stamp(by, at)
        story = story_in(shop.records, name, serial)
        last = story.last_rework if reason else None
        day = date.date() if date else last.entry.date if last else stamp.day
        filled = _filled(shop, story, said)
        number = _put(shop, story, filled, day, stamp, said)
        held = heat_faults(shop.records, serial)
    if as_json:
        print_json({"serial": serial, "rework": number, "date": day.isoformat(), "held": held})
        return
    console().print(f"{serial}: on record; measure it as left next", markup=False)
    for line in held:
        console().print(f"{serial}: not heated before: {line}", markup=False, soft_wrap=True)


@click.command(name="cancel-rework")
@click.argument("name")
@click.argument("serial")
@click.option("--why", required=True, help="Why it was put on record: typed twice, another unit.")
@by_option
@shop_option
@json_option
def cancel(name: str, serial: str, why: str, by: str, shop_file: Path, as_json: bool) -> None:
    """Cancel the last rework of unit SERIAL in batch NAME, which was never done.

    It stays on record as cancelled. One that was done otherwise is corrected instead.

    Example:  proofbath batch cancel-rework "ferry 12" T82-0412 --why "typed twice"
    --by "Ada Quay"
    """
    with open_shop(shop_file) as shop:
        number = cancel_rework(shop, name, serial, why=why, stamp=shop.stamp(by, utc_now()))
    if as_json:
        print_json({"serial": serial, "cancelled": number})
    else:
        console().print(f"{serial}: its last rework is cancelled", markup=False)


def _filled(shop: Shop, story: UnitStory, said: _Said) -> Filled:
    """Return what is to go on record, by what was said, advised, on record before, and answered."""
    serial, records = story.unit.entry.serial, shop.records
    version = records.one(TypeVersion, story.batch.entry.type_version_id).entry
    given = {name: value for name, value in said.act.items() if value is not None}
    base = Filled("")
    if said.reason:
        last = story.last_rework
        if last is not None and said.kind in (None, last.entry.kind):
            base = Filled.of(last.entry)
    elif said.as_advised:
        found, words = advised(records, version, serial, shop.file.effort)
        for line in words:
            click.echo(f"{serial}: {line}", err=True)
        if found is None:
            raise InputError(f"rework of {serial}: no rework is advised; say what was done")
        base = found
    kind = said.kind or base.kind or ("element" if given else None)
    kind = kind or (usual_kind(kind_of(records, version)) if said.amount is None else None)
    if kind is None:
        raise InputError(f"rework of {serial}: say with --kind what was changed")
    text = said.text or base.text
    lot = said.lot or base.supplier_lot
    if kind != "element":
        if given:
            names = ", ".join(f"--{name.replace('_', '-')}" for name in given)
            raise InputError(f"rework of {serial}: {names} is said of an element, not of {kind}")
        amount = base.amount if said.amount is None else said.amount
        return Filled(kind, amount, None, _told(serial, text), lot)
    if not said.yes and not said.reason and (said.as_advised or not given):
        fields = ask_hands(serial, asked_for(records, version), base, given)
    else:
        fields = fields_of(base, given)
    called = f"rework of {serial}"
    act = made(ReworkAct, called, **weighed(called, fields))
    return Filled("element", said.amount, act, text or "opened and closed", lot)


def _told(serial: str, text: str) -> str:
    if not text:
        raise InputError(f"rework of {serial}: say with --text what was done")
    return text


def _put(
    shop: Shop, story: UnitStory, filled: Filled, day: dt.date, stamp: Stamp, said: _Said
) -> int:
    """Put it on record; a person at the keyboard is asked what may be a slip."""

    def put(confirmed: bool) -> int:
        return put_rework(
            shop,
            story.batch.entry.name,
            story.unit.entry.serial,
            date=day,
            kind=filled.kind,
            amount=filled.amount,
            text=filled.text,
            supplier_lot=filled.supplier_lot,
            act=filled.act,
            stamp=stamp,
            reason=said.reason,
            confirmed=confirmed,
        )

    return _asking(put, said.yes)


def _asking(put: Callable[[bool], int], yes: bool) -> int:
    try:
        return put(yes)
    except Question as question:
        if not sys.stdin.isatty():
            raise InputError(*question.faults, _YES) from question
        for line in question.faults:
            click.echo(line, err=True)
        click.confirm("Put it on record?", abort=True, err=True)
        return put(True)
