"""`proofbath demo`: a batch's whole way on the virtual bench, each result beside the truth."""

from __future__ import annotations

import shutil
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import click

from proofbath.bench.clock import monotonic_s, utc_text
from proofbath.cli.night_progress import night_progress
from proofbath.cli.night_report import remarks, starts_table
from proofbath.cli.options import json_option, out_option
from proofbath.cli.output import console, print_json, progress_console
from proofbath.errors import InputError
from proofbath.scenario.story import Told, tell_story
from proofbath.scenario.workshop import DEMO_MARK
from proofbath.workshop.night_files import copy_night, make_folder, write_json

SUMMARY = "summary.json"
PARTS = ("records.sqlite*", "keys", "certificates", "nights", "curves", "*.toml", "curves.*")


@click.command()
@click.option(
    "--seed",
    type=click.IntRange(0, 2**31),
    default=1,
    show_default=True,
    help="Draws the bench and the units; the same seed gives the same nights.",
)
@out_option("proofbath-demo", "Folder for the workshop's file, records, curves and certificates.")
@json_option
def command(seed: int, out: Path, as_json: bool) -> None:
    """Take a batch through the virtual bench, from calibration to certificates.

    A river-ferry workshop calibrates its bench, takes six thermostats in, refuses one, measures
    five as found, reworks them as advised, measures them as left and certifies those that pass;
    one cannot be mended. The real controller sources guard the simulated bath. The folder is a
    workshop you can go on with: see proofbath batch --shop.
    """
    began_s = monotonic_s()
    _make_room(out)
    shown = progress_console()
    # A folder of its own for lock and commands: demos may run side by side.
    with night_progress() as tell, TemporaryDirectory() as locks:
        told = tell_story(out, seed, utc_text(), Path(locks), shown.print, tell)
    copy_night(told.files, out)
    summary = _summary(seed, told, monotonic_s() - began_s)
    write_json(out / SUMMARY, summary)
    if as_json:
        print_json(summary)
        return
    _print(told, summary, out)


def _make_room(out: Path) -> None:
    """Clear an earlier demo away; refuse a folder that holds somebody's workshop."""
    shop = out / "workshop.toml"
    if shop.exists() and not shop.read_text().startswith(DEMO_MARK):
        raise InputError(f"{out}: holds a workshop that is no demo; name another folder")
    for path in (found for part in PARTS for found in out.glob(part)):
        shutil.rmtree(path) if path.is_dir() else path.unlink()
    make_folder(out)


def _summary(seed: int, told: Told, wall_s: float) -> dict[str, Any]:
    true_c = told.true_c()
    outcomes = {
        each.story.unit.entry.serial: each.verdict.outcome.value
        for each in told.judged
        if each.verdict is not None
    }
    numbers = {each.serial: each.number for each in told.certified}
    return {
        "seed": seed,
        "bench_hours": round(told.hours, 3),
        "wall_s": round(wall_s, 2),
        "refused_at_intake": told.refused,
        "units": [
            {
                "serial": report.serial,
                "station": report.station,
                "start_to_open_c": report.result.start_to_open_c.to_json(),
                "true_start_to_open_c": true_c[report.station],
                "verdict": outcomes.get(report.serial),
                "certificate": numbers.get(report.serial),
            }
            for report in told.as_left
        ],
    }


def _print(told: Told, summary: dict[str, Any], out: Path) -> None:
    shown = console()
    shown.print(starts_table(list(told.as_left), told.true_c()))
    for line in remarks(list(told.as_left)):
        shown.print(line, markup=False)
    for unit in told.certified:
        words = f"certificate {unit.number}" if unit.number else "; ".join(unit.refusals)
        shown.print(f"{unit.serial}: {words}", markup=False)
    hours, wall_s = summary["bench_hours"], summary["wall_s"]
    shown.print(f"{hours:.1f} h on the bench in {wall_s:.1f} s; everything is in {out}")
