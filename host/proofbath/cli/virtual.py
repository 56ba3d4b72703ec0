"""`proofbath virtual`: the true answers of a virtual bench's units, and example benches."""

from __future__ import annotations

from dataclasses import asdict
from importlib.resources import files
from pathlib import Path

import click

from proofbath.bench.description import BenchFile
from proofbath.cli.options import json_option
from proofbath.cli.output import console, print_json
from proofbath.cli.whole_table import Table
from proofbath.errors import InputError
from proofbath.files import read_toml
from proofbath.virtual.truth import Power, TrueUnit, true_unit


@click.group()
def command() -> None:
    """Look into a virtual bench, or get examples of one."""


@command.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--threshold-mm",
    type=click.FloatRange(0.01, 5.0),
    default=0.1,
    show_default=True,
    help="Lift that defines start-to-open and closing.",
)
@click.option(
    "--rated-lift-mm",
    type=click.FloatRange(0.1, 20.0),
    default=8.0,
    show_default=True,
    help="Lift that defines full-open.",
)
@click.option(
    "--current-a",
    type=click.FloatRange(0.0, 2.0),
    default=0.0,
    show_default=True,
    help="Current through each unit's heater.",
)
@json_option
def truth(
    file: Path, threshold_mm: float, rated_lift_mm: float, current_a: float, as_json: bool
) -> None:
    """Print the true values of each unit in a bench file.

    They are computed in closed form from the unit's parameters, for zero rate from the fully
    closed, cold state; the plant is not run.
    """
    bench = read_toml(file, BenchFile)
    if bench.virtual is None:
        raise InputError(f"{file}: has no [virtual] section, so nothing true is known of its units")
    units = [
        true_unit(
            unit,
            threshold_mm=threshold_mm,
            rated_lift_mm=rated_lift_mm,
            power=Power(a=current_a),
        )
        for unit in bench.virtual.unit
    ]
    if as_json:
        print_json({"units": [asdict(unit) for unit in units]})
    else:
        _print(units, threshold_mm)


@command.command()
@click.argument("folder", type=click.Path(path_type=Path))
def examples(folder: Path) -> None:
    """Write example benches, plans, types and a workshop into FOLDER, to run and to change.

    A batch of plain Teal-82 and one of heater-assisted Heron-103, with the plan of a night each;
    the file of each unit type and of the workshop, for the verbs that take --shop.
    """
    shipped = sorted((files("proofbath.virtual") / "examples").iterdir(), key=lambda f: f.name)
    there = [file.name for file in shipped if (folder / file.name).exists()]
    if there:
        raise InputError(f"{folder}: holds {', '.join(there)} already; name another folder")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for file in shipped:
            (folder / file.name).write_text(file.read_text())
    except OSError as error:
        raise InputError(f"{folder}: cannot be written: {error.strerror}") from error
    console().print(f"in {folder}: {', '.join(file.name for file in shipped)}")


def _print(units: list[TrueUnit], threshold_mm: float) -> None:
    table = Table(title=f"True values at zero rate, threshold {threshold_mm:g} mm")
    for heading in (
        "station",
        "unit",
        "start-to-open °C",
        "without friction °C",
        "full-open °C",
        "closing °C",
    ):
        table.add_column(heading, justify="left" if heading == "unit" else "right")
    for unit in units:
        values = (
            unit.start_to_open_c,
            unit.start_to_open_frictionless_c,
            unit.full_open_c,
            unit.closing_c,
        )
        shown = ("never" if v is None else f"{v:.2f}" for v in values)
        table.add_row(str(unit.station), unit.serial, *shown)
    console().print(table)
