"""`proofbath tune`: a heating test, the bath's model and gains from it, kept in the bench file."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from proofbath.bench.bench_text import check_place, write_tuning
from proofbath.bench.description import BenchFile
from proofbath.bench.process import bench_tune
from proofbath.bench.ready import Ready
from proofbath.bench.tune import Tuning
from proofbath.bench.tune_picture import tuning_picture
from proofbath.cli.night_outcome import JOURNAL
from proofbath.cli.night_progress import night_progress
from proofbath.cli.options import bench_option, clear_trip_option, json_option, out_option
from proofbath.cli.output import console, print_alarm, print_json, progress_console
from proofbath.cli.whole_table import Table
from proofbath.control.bath_model import BathModel
from proofbath.errors import InputError
from proofbath.files import read_toml
from proofbath.workshop.night_files import write_json

CAUTIONS = (
    "The bath is heated to about 88 °C: scald hazard until it is below 45 °C.  Stay with it: fill"
    " it to its line, close the lid, clear the surroundings; the hard-wired cut-out, level and"
    " emergency stop must be in order.  Once it cools down, a stop (Ctrl-C) ends the wait and the"
    " result is made all the same."
)
FROM_C, STEP_C = 40, 10
FIGURES = {
    "heat_capacity_j_per_k": ("heat capacity at 60 °C", "J/K"),
    "capacity_growth_per_k": ("its growth", "1/K"),
    "loss_w_per_k": ("loss", "W/K"),
    "evaporation_w_at_90c": ("evaporation at 90 °C", "W"),
    "cooling_w_per_k": ("cooling valve", "W/K"),
    "dead_time_s": ("dead time", "s"),
    "heater_lag_s": ("heater lag", "s"),
    "guard_probe_lag_s": ("guard probe's lag", "s"),
}


@click.command()
@bench_option("Bench file; what is found is written into it, the old one kept beside it.")
@out_option("tuning", "Folder for journal, picture and result.")
@clear_trip_option
@click.option("--dry", is_flag=True, help="Leave the bench file as it is.")
@json_option
def command(bench_file: Path, out: Path, clear_trip: bool, dry: bool, as_json: bool) -> None:
    """Find the bath's heat capacity, losses, delays and gains by a heating test.

    Full heat, coasting, and again hotter: about an hour, then the bath cools down. No unit need
    be loaded. The bath's power, heater_w, and the probe's lag are taken from the bench file. A
    record that fits no model is refused and changes nothing.
    """
    bench = read_toml(bench_file, BenchFile)
    if not dry:
        check_place(bench_file)
    _make_folder(out)
    progress_console().print(CAUTIONS)
    with night_progress() as tell:
        tuning = bench_tune(
            bench,
            out / JOURNAL,
            clear=clear_trip,
            on_ready=_tell_ready,
            on_progress=tell,
            on_alarm=print_alarm,
        )
    pictures = _write_pictures(out, tuning)
    found = _found(tuning, bench.bath_limit_c(), None if dry else bench_file)
    write_json(out / f"tuning-{tuning.run_id}.json", found)
    kept = None if dry else write_tuning(bench_file, tuning)
    if as_json:
        print_json(found)
        return
    _print(tuning, bench.bath_limit_c())
    end = "the bench file is as it was"
    if kept:
        end = f"{bench_file} is tuned, the old one is {kept}"
    console().print(f"{end}; the picture is {pictures}", soft_wrap=True)


def _make_folder(out: Path) -> None:
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(
            f"{out}: cannot be written: {error.strerror}; name another folder"
        ) from error


def _tell_ready(ready: Ready) -> None:
    minutes = ready.checked.ready_s / 60.0
    progress_console().print(f"The heating test takes about {minutes:.0f} min by the file's model.")


def _write_pictures(out: Path, tuning: Tuning) -> Path:
    title = f"Heating test of {tuning.tuned.bench}, {tuning.tuned.at[:10]}"
    path = out / f"tuning-{tuning.run_id}.svg"
    try:
        path.write_bytes(tuning_picture(tuning.found, title, "svg"))
        path.with_suffix(".png").write_bytes(tuning_picture(tuning.found, title, "png"))
    except OSError as error:
        raise InputError(f"{path}: cannot be written: {error.strerror}") from error
    return path


def _found(tuning: Tuning, limit_c: float, written: Path | None) -> dict[str, Any]:
    return {
        "run": tuning.run_id,
        "bench_file": str(written) if written else None,
        "model": tuning.found.model.model_dump(),
        **tuning.tuned.model_dump(),
        "attainable": [
            {"bath_c": bath_c, "rise_k_per_min": rise, "fall_k_per_min": fall}
            for bath_c, rise, fall in attainable(tuning.found.model, limit_c)
        ],
    }


def attainable(model: BathModel, limit_c: float) -> list[tuple[float, float, float]]:
    """Return (bath °C, fastest rise, fastest fall in K/min) each 10 K up to the bath's limit."""
    places = [*map(float, range(FROM_C, int(limit_c), STEP_C)), limit_c]
    return [(c, model.rise_k_per_min(c), model.fall_k_per_min(c)) for c in places]


def _shown(value: float, digits: int) -> str:
    return f"{value:.0f}" if abs(value) >= 1000.0 else f"{value:.{digits}g}"


def _print(tuning: Tuning, limit_c: float) -> None:
    figures = Table(title=f"Bath of {tuning.tuned.bench}", title_justify="left")
    for heading in ("figure", "value", "u", "unit"):
        figures.add_column(heading, justify="right" if heading in ("value", "u") else "left")
    for key, uncertainty in tuning.found.standard_uncertainty.items():
        name, unit = FIGURES[key]
        value = getattr(tuning.found.model, key)
        figures.add_row(name, _shown(value, 4), _shown(uncertainty, 2), unit)
    rates = Table(title="Attainable rates in K/min", title_justify="left")
    for heading in ("bath °C", "rise", "fall"):
        rates.add_column(heading, justify="right")
    for bath_c, rise, fall in attainable(tuning.found.model, limit_c):
        rates.add_row(f"{bath_c:.0f}", f"{rise:.2f}", f"{fall:.2f}")
    shown = console()
    shown.print(figures)
    shown.print(rates)
    kp, ki = tuning.tuned.gains()
    shown.print(
        f"gains {kp:.3g} per K and {ki:.2g} per K s; "
        f"the record is off the model by {tuning.found.rms_k:.3f} K rms, "
        f"{tuning.found.worst_k:.2f} K at worst"
    )
