"""`proofbath statistics`: what the numbers of a batch, of a type, and of all types say."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from proofbath.cli.options import json_option
from proofbath.cli.output import console, print_json
from proofbath.cli.shop_options import shop_option
from proofbath.cli.whole_table import Table
from proofbath.proof.statistics import BatchStatistics
from proofbath.workshop.shop import open_shop
from proofbath.workshop.shop_statistics import (
    LimitStatistics,
    batch_figures,
    compare_types,
    factor_json,
    type_figures,
)
from proofbath.workshop.statistics_words import trend_text, type_lines


@click.group()
def command() -> None:
    """Tell what the shop's own numbers say, and no more than they carry."""


@command.command()
@click.argument("name")
@shop_option
@json_option
def batch(name: str, shop_file: Path, as_json: bool) -> None:
    """Print mean, s and range of batch NAME, as found and as left.

    The bench's common uncertainty moves all units alike: it stands apart and is not in s.
    """
    with open_shop(shop_file) as shop:
        found = batch_figures(shop.records, name)
    if as_json:
        print_json({"batch": name, "limits": [_limit_json(one) for one in found]})
        return
    for one in found:
        table = Table(title=f"{one.form}, in {one.unit}", title_justify="left")
        for heading in ("", "units", "mean", "s", "smallest", "largest", "range", "common u"):
            table.add_column(heading, justify="right" if heading else "left")
        for stage, figures in (("as found", one.as_found), ("as left", one.as_left)):
            table.add_row(stage, *_batch_cells(figures))
        console().print(table)


def _batch_cells(found: BatchStatistics | None) -> list[str]:
    if found is None:
        return ["0", "", "", "", "", "", ""]
    figures = (found.mean, found.sd, found.smallest, found.largest, found.span, found.common_u)
    return [str(found.units), *("" if f is None else f"{f:.3f}" for f in figures)]


def _limit_json(one: LimitStatistics) -> dict[str, Any]:
    parts = {"as_found": one.as_found, "as_left": one.as_left}
    return one._asdict() | {
        name: part._asdict() | {"range": part.span} if part else None
        for name, part in parts.items()
    }


@command.command(name="type")
@click.argument("name")
@shop_option
@json_option
def type_command(name: str, shop_file: Path, as_json: bool) -> None:
    """Print what the as-left history of type NAME carries.

    Capability and tolerance interval from 30 units on; trends; benches, stations, persons and
    supplier lots compared, and what the comparison could not have seen.
    """
    with open_shop(shop_file) as shop:
        found = type_figures(shop.records, name)
    if as_json:
        print_json({"type": name, "limits": [one.to_json() for one in found]})
        return
    for one in found:
        for line in type_lines(one):
            console().print(line, markup=False, soft_wrap=True)


@command.command()
@shop_option
@json_option
def types(shop_file: Path, as_json: bool) -> None:
    """Compare all types by how far their units left from the middle of their limits."""
    with open_shop(shop_file) as shop:
        found = compare_types(shop.records)
    if as_json:
        print_json({"types": factor_json(found) if found else None})
        return
    if found is None:
        console().print("no type has units as left on record")
        return
    console().print(found.words, markup=False, soft_wrap=True)
    for name, units in found.groups.items():
        line = found.trends.get(name)
        trend = f"; {trend_text(line, 'K', line.p)}" if line else ""
        console().print(f"  {name}: {units} units{trend}", markup=False, soft_wrap=True)
