"""`proofbath rework`: how much to change on a unit, what it will do, and whether it is worth it."""

from __future__ import annotations

from pathlib import Path

import click
from rich.console import JustifyMethod

from proofbath.cli.options import json_option
from proofbath.cli.output import console, print_json
from proofbath.cli.shop_options import shop_option
from proofbath.cli.whole_table import Table
from proofbath.proof.cautions import RETARGETING, REWORK
from proofbath.proof.rework import Advice, Predicted
from proofbath.workshop.advice import UnitAdvice, advice_for
from proofbath.workshop.shop import open_shop

HEADINGS = ("unit", "measured", "accepted", "advice", "then opens at", "lift", "inside", "cost")


@click.command()
@click.argument("name", metavar="BATCH|SERIAL")
@shop_option
@json_option
def command(name: str, shop_file: Path, as_json: bool) -> None:
    """Advise the rework of a batch's units, or of one unit, from their latest results.

    Says leave, change by x, x now and the rest after measuring, or give up: whichever costs least
    on average, from every round of the type on record. Temperatures in °C, lift in mm; intervals
    hold in 95 of 100 cases. Wax and settings with + are more: it opens colder and lifts further.

    Example:  proofbath rework "ferry 12"
    """
    with open_shop(shop_file) as shop:
        advised = advice_for(shop.records, name)
    if as_json:
        print_json({"units": [one.to_json() for one in advised], "caution": RETARGETING})
        return
    table = Table()
    for heading in HEADINGS:
        side: JustifyMethod = "left" if heading in ("unit", "advice") else "right"
        table.add_column(heading, justify=side, overflow="fold", no_wrap=heading == "unit")
    for one in advised:
        table.add_row(*_cells(one))
    shown = console()
    shown.print(table)
    for line in _lines(advised):
        shown.print(line, markup=False, soft_wrap=True)
    if any(one.advice and one.advice.change for one in advised):
        shown.print(REWORK, markup=False, soft_wrap=True)
    shown.print(RETARGETING, markup=False, soft_wrap=True)


def _cells(one: UnitAdvice) -> list[str]:
    measured = accepted = ""
    if one.measured and one.measured.value is not None:
        measured = f"{one.measured.value:.2f} ± {one.measured.expanded_uncertainty:.2f}"
    if one.acceptance_c:
        accepted = "{:.2f} to {:.2f}".format(*one.acceptance_c)
    advice = one.advice
    if advice is None:
        return [one.serial, measured, accepted, "none yet", "", "", "", ""]
    chance, cost = advice.chance_inside, advice.expected_cost
    return [
        one.serial,
        measured,
        accepted,
        _in_words(advice, one.unit),
        _predicted(advice.start_c),
        _predicted(advice.lift_mm),
        "" if chance is None else f"{chance:.0%}",
        "" if cost is None else f"{cost:.0f}",
    ]


def _in_words(advice: Advice, unit: str) -> str:
    change = f"{advice.change:+g} {unit}"
    return (
        advice.action.value.replace("change", f"change {change}", 1)
        if advice.change
        else (advice.action.value)
    )


def _predicted(found: Predicted | None) -> str:
    return "" if found is None else f"{found.mean:.1f} ({found.low:.1f} to {found.high:.1f})"


def _lines(advised: list[UnitAdvice]) -> list[str]:
    """Return one line a unit: why, and every round that is foreseen now."""
    lines = []
    for one in advised:
        if one.advice is None:
            lines.append(f"{one.serial}: {one.refusal}")
            continue
        line = f"{one.serial}: {one.advice.reason}"
        if len(one.advice.planned) > 1:
            rounds = ", ".join(f"{step:+g}" for step in one.advice.planned)
            line += f"; foreseen rounds {rounds} {one.unit}, each advised anew after measuring"
        lines.append(line)
    return lines
