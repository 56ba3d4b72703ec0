"""`proofbath curve`: what one recorded curve says, from its CSV."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from proofbath.bench.description import BenchFile
from proofbath.cli.curve_tables import print_model, print_result
from proofbath.cli.options import json_option
from proofbath.cli.output import print_json
from proofbath.curve.analyse import analyse
from proofbath.curve.bench_budget import BenchBudget
from proofbath.curve.current_picture import lifts_picture as draw_lifts
from proofbath.curve.current_picture import openings_picture as draw_openings
from proofbath.curve.current_rows import current_rows, to_csv
from proofbath.curve.model_fit import fit_model
from proofbath.curve.overlay import heater_picture as draw_heater
from proofbath.curve.picture import Form, curve_picture
from proofbath.curve.record import CurveRecord, parse_csv
from proofbath.curve.result import CurveResult
from proofbath.errors import InputError, RecordError
from proofbath.files import read_text, read_toml

Draw = Callable[[CurveRecord, CurveResult, Form], bytes]
_FORMS: dict[str, Form] = {".svg": "svg", ".png": "png"}


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
    "--at-lift-mm",
    type=float,
    multiple=True,
    help="Also give the rising bath temperature of this lift; may be repeated.",
)
@click.option(
    "--at-bath-c",
    type=float,
    multiple=True,
    help="Also give the rising lift at this bath temperature; may be repeated.",
)
@click.option(
    "--element-ohm",
    type=click.FloatRange(min=0, min_open=True),
    help="Resistance usual for the type's heater, to tell a wrong supply by.",
)
@click.option(
    "--model",
    "with_model",
    is_flag=True,
    help="Fit the physical model of a wax element too; takes some seconds.",
)
@click.option(
    "--picture",
    type=click.Path(path_type=Path),
    help="Write the opening curve there, as .svg or .png.",
)
@click.option(
    "--heater-picture",
    type=click.Path(path_type=Path),
    help="Write lift, power and bath over time and the starts under power there.",
)
@click.option(
    "--lifts-picture",
    type=click.Path(path_type=Path),
    help="Write lift over time there, a line for each current.",
)
@click.option(
    "--openings-picture",
    type=click.Path(path_type=Path),
    help="Write the opening temperature over power and current there.",
)
@click.option(
    "--currents",
    "currents_file",
    type=click.Path(path_type=Path),
    help="Write what the unit does at each current there, as CSV.",
)
@json_option
def command(
    file: Path,
    threshold_mm: float,
    rated_lift_mm: float | None,
    bench_file: Path | None,
    at_lift_mm: tuple[float, ...],
    at_bath_c: tuple[float, ...],
    element_ohm: float | None,
    with_model: bool,
    picture: Path | None,
    heater_picture: Path | None,
    lifts_picture: Path | None,
    openings_picture: Path | None,
    currents_file: Path | None,
    as_json: bool,
) -> None:
    """Find the opening temperatures in one recorded curve.

    FILE is a CSV with the columns t_s, bath_c and lift_mm, perhaps element_a and element_v: one
    unit, decimal points, further columns ignored. Lift is calibrated, not zeroed.
    """
    pictures: tuple[tuple[Path | None, Draw], ...] = (
        (picture, curve_picture),
        (heater_picture, draw_heater),
        (lifts_picture, draw_lifts),
        (openings_picture, draw_openings),
    )
    for path, _ in pictures:
        if path and path.suffix not in _FORMS:
            raise InputError(f"{path}: a picture is .svg or .png; name it so")
    record = parse_csv(read_text(file), str(file))
    budget = read_toml(bench_file, BenchFile).budget if bench_file else None
    result = analyse(
        record,
        threshold_mm,
        rated_lift_mm,
        budget,
        at_lifts_mm=at_lift_mm,
        at_baths_c=at_bath_c,
        element_ohm=element_ohm,
    )
    model = _model(record, threshold_mm, budget) if with_model else {}
    for path, draw in pictures:
        if path:
            _write(path, draw(record, result, _FORMS[path.suffix]))
    if currents_file:
        _write(currents_file, to_csv([(result.name, current_rows(result))]).encode())
    if as_json:
        print_json(result.to_json() | ({"model": model} if with_model else {}))
    else:
        print_result(result)
        print_model(model)


def _model(record: CurveRecord, threshold_mm: float, budget: BenchBudget | None) -> dict[str, Any]:
    """Fit the model; a record it cannot be fitted to gives the reason instead."""
    probe_lag_s = (budget.probe_lag_s if budget else None) or 0.0
    try:
        return fit_model(record, threshold_mm, probe_lag_s).to_json() | {"reason": None}
    except RecordError as error:
        return {"parameters": None, "reason": str(error)}


def _write(path: Path, data: bytes) -> None:
    try:
        path.write_bytes(data)
    except OSError as error:
        raise InputError(f"{path}: cannot be written: {error.strerror}") from error
