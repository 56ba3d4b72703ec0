"""`proofbath rework`: what to do to a unit, what comes of it, and whether it is worth it."""

from __future__ import annotations

from pathlib import Path

import click
from rich.console import JustifyMethod

from proofbath.cli.options import json_option
from proofbath.cli.output import console, print_json
from proofbath.cli.shop_options import shop_option
from proofbath.cli.whole_table import Table
from proofbath.proof.cautions import RETARGETING, REWORK
from proofbath.proof.lift_curve import Interval
from proofbath.workshop.advice import UnitAdvice, advice_for, leads_on
from proofbath.workshop.shop import open_shop

HEADINGS = ("unit", "wanted", "now", "advice", "then", "inside", "minutes")


@click.command()
@click.argument("name", metavar="BATCH|SERIAL")
@shop_option
@json_option
def command(name: str, shop_file: Path, as_json: bool) -> None:
    """Advise the rework of a batch's units, or of one unit, from their latest results.

    Says leave, change, change and measure before the rest, or give up: whichever takes least work
    on average, from every round of the type on record. It aims at what was ordered, else at the
    type's own limits. Temperatures in °C, lifts in mm; intervals hold in 95 of 100 cases. What an
    hour or a part is worth stands under [effort] in the workshop's file.

    Example:  proofbath rework "ferry 12"
    """
    with open_shop(shop_file) as shop:
        advised = advice_for(shop.records, name, shop.file.effort)
    if as_json:
        print_json({"units": [one.to_json() for one in advised], "caution": RETARGETING})
        return
    table = Table()
    for heading in HEADINGS:
        side: JustifyMethod = "right" if heading in ("inside", "minutes") else "left"
        table.add_column(heading, justify=side, overflow="fold", no_wrap=heading == "unit")
    for one in advised:
        table.add_row(*_cells(one))
    shown = console()
    shown.print(table)
    for line in _lines(advised):
        shown.print(line, markup=False, soft_wrap=True)
    if any(leads_on(one) for one in advised):
        shown.print(REWORK, markup=False, soft_wrap=True)
    shown.print(RETARGETING, markup=False, soft_wrap=True)


def _cells(one: UnitAdvice) -> list[str]:
    advice = one.advice
    if advice is None:
        return [one.serial, one.target_words, _foreseen(one.now), "none yet", "", "", ""]
    chance, forecast = advice.chance_inside, advice.forecast
    return [
        one.serial,
        one.target_words,
        _foreseen(one.now),
        advice.action.value,
        _foreseen(forecast.at_target_c) if forecast else "",
        "" if chance is None else f"{chance:.0%}",
        f"{advice.expected_min:.0f}" if advice.act else "",
    ]


def _foreseen(found: Interval | None) -> str:
    return "" if found is None else f"{found.mean:.1f} ({found.low:.1f} to {found.high:.1f})"


def _lines(advised: list[UnitAdvice]) -> list[str]:
    """Return what to do with each unit, and below it what comes of it and what to mind."""
    lines = []
    for one in advised:
        lines.append(f"{one.serial}: {one.next_act}")
        lines += [f"  {line}" for line in one.lines[1:]]
    return lines
