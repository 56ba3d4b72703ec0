"""`proofbath study`: what varies at a bench: its nights planned, and evaluated from the record."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from proofbath.bench.clock import utc_text
from proofbath.cli.options import json_option, out_option
from proofbath.cli.output import console, print_json
from proofbath.cli.shop_options import by_option, shop_option
from proofbath.cli.whole_table import Table
from proofbath.errors import InputError
from proofbath.workshop.bench_study import (
    FOR_BUDGET,
    budget_from_study,
    evaluate_study,
    keep_study,
    study_plans,
)
from proofbath.workshop.planning import plan_text
from proofbath.workshop.shop import open_shop


@click.group()
def command() -> None:
    """Find what varies at a bench: units rotated over its stations, night by night."""


@command.command()
@click.argument("name")
@click.argument("serials", nargs=6, metavar="SERIAL...")
@click.option("--short", is_flag=True, help="Three nights in place of six; wider intervals.")
@out_option("study", "Folder for the nights' plans.")
@shop_option
@json_option
def plan(
    name: str,
    serials: tuple[str, ...],
    short: bool,
    out: Path,
    shop_file: Path,
    as_json: bool,
) -> None:
    """Plan study NAME of six units of one plain type, one night's plan a file.

    Each unit hangs at every station once in six nights. Nothing is changed on the units between
    the nights. Run each plan with `proofbath night PLAN --shop FILE --by NAME`.

    Example:  proofbath study plan spring-study U1 U2 U3 U4 U5 U6
    """
    with open_shop(shop_file) as shop:
        plans = study_plans(shop.records, name, serials, 3 if short else 6)
    paths = [out / f"{name}-{number}.toml" for number in range(1, len(plans) + 1)]
    try:
        out.mkdir(parents=True, exist_ok=True)
        for path, night in zip(paths, plans, strict=True):
            path.write_text(plan_text(night), encoding="utf-8")
    except OSError as error:
        raise InputError(f"{out}: cannot be written: {error.strerror}; name another") from error
    if as_json:
        nights = [[place.serial for place in night.station] for night in plans]
        print_json({"plans": [str(path) for path in paths], "stations": nights})
        return
    table = Table(title="Unit at each station")
    for heading in ("night", *map(str, range(1, 7))):
        table.add_column(heading)
    for path, night in zip(paths, plans, strict=True):
        table.add_row(path.name, *(place.serial for place in night.station))
    console().print(table)


@command.command()
@click.argument("name")
@click.option("--bench", "bench_name", required=True, help="The bench's name.")
@click.option("--dry", is_flag=True, help="Only show it; nothing is put on record.")
@shop_option
@by_option
@json_option
def evaluate(
    name: str, bench_name: str, dry: bool, shop_file: Path, by: str, as_json: bool
) -> None:
    """Evaluate study NAME from its runs on record, and put it on record.

    From then on its repeatability and its change between nights go into the bench's budget.
    """
    with open_shop(shop_file) as shop:
        stamp = shop.stamp(by, utc_text())
        if dry:
            found = evaluate_study(shop.records, shop.bench(bench_name).bench.name, name)
        else:
            found = keep_study(shop, bench_name, name, stamp)
    content = found.content() | {"runs": list(found.run_ids)}
    if as_json:
        print_json(content)
        return
    table = Table(title=f"Standard deviations in K, {found.loadings} loadings")
    for heading in ("component", "sd", "95 % interval", "degrees of freedom", "p of none"):
        table.add_column(heading, justify="left" if heading == "component" else "right")
    for item in content["components"]:
        table.add_row(*_component_cells(item))
    console().print(table)
    for line in (*found.left_out, _figures(content[FOR_BUDGET])):
        console().print(line, markup=False, soft_wrap=True)


@command.command()
@click.argument("bench_name", metavar="BENCH")
@shop_option
@json_option
def show(bench_name: str, shop_file: Path, as_json: bool) -> None:
    """Show what the newest study of a BENCH brings to its budget."""
    with open_shop(shop_file) as shop:
        found = budget_from_study(shop.records, shop.bench(bench_name).bench.name)
    if as_json:
        print_json({"bench": bench_name, FOR_BUDGET: found})
    else:
        text = _figures(found) if found else "no study on record; plan one with `study plan`"
        console().print(text, markup=False, soft_wrap=True)


def _component_cells(item: dict[str, Any]) -> list[str]:
    p = item["p"]
    return [
        item["name"],
        f"{item['sd_k']:.3f}",
        f"{item['low_k']:.3f} to {item['high_k']:.3f}",
        f"{item['degrees_of_freedom']:g}",
        "" if p is None else f"{p:.2g}",
    ]


def _figures(found: dict[str, float]) -> str:
    return (
        f"for the budget: repeatability {found['repeatability_k']:.3f} K with"
        f" {found['repeatability_dof']:g} degrees of freedom, change between nights"
        f" {found['night_k']:.3f} K"
    )
