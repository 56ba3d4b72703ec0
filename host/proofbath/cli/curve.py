"""`proofbath curve`: what one recorded curve says, from its CSV."""

from __future__ import annotations

from pathlib import Path

import click
from rich.table import Table

from proofbath.bench.description import BenchFile
from proofbath.cli.output import console, json_option, print_json
from proofbath.curve.analyse import analyse
from proofbath.curve.picture import Form, curve_picture
from proofbath.curve.record import parse_csv
from proofbath.curve.result import CurveResult, Quantity
from proofbath.errors import InputError
from proofbath.files import read_text, read_toml

_FORMS: dict[str, Form] = {".svg": "svg", ".png": "png"}
_UNITS = {"mm": "mm", "c": "°C", "k": "K", "w": "W", "a": "A", "s": "s"}
_ROWS = {
    "start_to_open_c": ("start-to-open", "°C"),
    "full_open_c": ("full-open", "°C"),
    "full_lift_mm": ("full lift", "mm"),
    "closing_c": ("closing", "°C"),
    "hysteresis_k": ("hysteresis", "K"),
    "zero_return_mm": ("zero return", "mm"),
    "lag_s": ("lag", "s"),
    "unpowered_start_to_open_c": ("unpowered start-to-open", "°C"),
    "shift_k_per_w": ("shift by the heater", "K/W"),
}


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--threshold-mm",
    default=0.1,
    show_default=True,
    help="Lift that defines start-to-open and closing.",
)
@click.option(
    "--rated-lift-mm",
    type=float,
    help="Lift that defines full-open; without it full-open is not given.",
)
@click.option(
    "--bench",
    "bench_file",
    type=click.Path(path_type=Path),
    help="Bench file whose [budget] supplies the bench's uncertainties.",
)
@click.option(
    "--picture",
    type=click.Path(path_type=Path),
    help="Write the opening curve there, as .svg or .png.",
)
@json_option
def command(
    file: Path,
    threshold_mm: float,
    rated_lift_mm: float | None,
    bench_file: Path | None,
    picture: Path | None,
    as_json: bool,
) -> None:
    """Find the opening temperatures in one recorded curve.

    FILE is a CSV with the columns t_s, bath_c and lift_mm, perhaps element_a and element_v: one
    unit, decimal points, further columns ignored. Lift is calibrated, not zeroed.
    """
    if picture and picture.suffix not in _FORMS:
        raise InputError(f"{picture}: a picture is .svg or .png; name it so")
    record = parse_csv(read_text(file), str(file))
    budget = read_toml(bench_file, BenchFile).budget if bench_file else None
    result = analyse(record, threshold_mm, rated_lift_mm, budget)
    if picture:
        _write(picture, curve_picture(record, result, _FORMS[picture.suffix]))
    if as_json:
        print_json(result.to_json())
    else:
        _print(result)


def _write(path: Path, data: bytes) -> None:
    try:
        path.write_bytes(data)
    except OSError as error:
        raise InputError(f"{path}: cannot be written: {error.strerror}") from error


def _print(result: CurveResult) -> None:
    count = len(result.cycles)
    table = Table(title=f"{result.name}: {count} cycle{'s' * (count != 1)}", title_justify="left")
    table.add_column("quantity")
    table.add_column("value", justify="right")
    table.add_column("U (95 %)", justify="right")
    table.add_column("stated for")
    for name, (label, unit) in _ROWS.items():
        table.add_row(label, *_cells(result.quantities[name], unit))
    shown = console()
    shown.print(table)
    for warned in result.warnings:
        shown.print(f"{warned.code}: {warned.text}")


def _cells(quantity: Quantity, unit: str) -> tuple[str, str, str]:
    if quantity.value is None:
        return "none", "", quantity.reason or ""
    rate = f"{quantity.rate:.2f} K/min" if isinstance(quantity.rate, float) else quantity.rate
    parts = [f"{value:.4g} {_UNITS[name.rsplit('_')[-1]]}" for name, value in quantity.at.items()]
    parts += [f"rate {rate}"] if rate else []
    return f"{quantity.value:.2f} {unit}", f"{quantity.expanded_uncertainty:.2f}", ", ".join(parts)
