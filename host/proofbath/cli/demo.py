"""`proofbath demo`: two batches on virtual benches from intake to certificate, beside the truth."""

from __future__ import annotations

import shutil
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import click

from proofbath.bench.clock import monotonic_s, utc_text
from proofbath.cli.night_progress import night_progress
from proofbath.cli.night_report import opening_of, remarks, starts_table
from proofbath.cli.options import json_option, out_option
from proofbath.cli.output import console, print_json, progress_console
from proofbath.errors import InputError
from proofbath.scenario.story import BatchTold, Told, tell_story
from proofbath.scenario.workshop import DEMO_MARK
from proofbath.workshop.night_files import copy_night, make_folder, write_json

SUMMARY = "summary.json"
HEATED_FOLDER = "heated"
NIGHT = ("curves", "curves.*", "currents.csv", HEATED_FOLDER)
PARTS = ("records.sqlite*", "keys", "certificates", "nights", "*.toml", *NIGHT)


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
    """Take two batches through virtual benches, from calibration to certificates.

    A river-ferry workshop calibrates its two benches and takes six plain thermostats in, of which
    it refuses one, and five heater-assisted ones, which are ordered to open colder than they are
    marked. Both batches are measured as found, reworked as advised and measured as left, side by
    side; those that pass are certified, and one cannot be mended. The real controller sources guard
    the simulated baths. The folder is a workshop you can go on with: see proofbath batch --shop.
    """
    began_s = monotonic_s()
    _make_room(out)
    shown = progress_console()
    # A folder of its own for lock and commands: demos may run side by side.
    with night_progress() as tell, TemporaryDirectory() as locks:
        told = tell_story(out, seed, utc_text(), Path(locks), shown.print, tell)
    copy_night(told.plain.files, out)
    make_folder(out / HEATED_FOLDER)
    copy_night(told.heated.files, out / HEATED_FOLDER)
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
    plain = told.plain
    true_c, outcomes = plain.true_c(), _outcomes(plain)
    numbers = {each.serial: each.number for each in plain.certified}
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
            for report in plain.as_left
        ],
        "batches": [_batch(told.plain), _batch(told.heated)],
    }


def _outcomes(batch: BatchTold) -> dict[str, str]:
    return {
        each.story.unit.entry.serial: each.verdict.outcome.value
        for each in batch.judged
        if each.verdict is not None
    }


def _batch(batch: BatchTold) -> dict[str, Any]:
    """Return a batch's openings as found and as left beside what is marked and was ordered.

    All are of the lift named in "at". What was not measured as found is the advice's estimate from
    the start-to-open, and is named so.
    """
    scene, true_c, outcomes = batch.scene, batch.true_c(), _outcomes(batch)
    found = {report.serial: opening_of(report, scene.lift_mm) for report in batch.as_found}
    estimated_c = {one.serial: one.now.mean for one in batch.advice if one.now}
    units = []
    for report in batch.as_left:
        if report.role == "reference":
            continue
        as_found, as_left = found[report.serial], opening_of(report, scene.lift_mm)
        reasons = {
            key: one.reason
            for key, one in (("as_found_c", as_found), ("as_left_c", as_left))
            if one.value is None
        }
        guess_c = estimated_c.get(report.serial) if as_found.value is None else None
        units.append(
            {
                "serial": report.serial,
                "station": report.station,
                "as_found_c": as_found.value if guess_c is None else guess_c,
                "as_left_c": as_left.value,
                "expanded_uncertainty_k": as_left.expanded_uncertainty,
                "true_as_left_c": true_c[report.station],
                "verdict": outcomes.get(report.serial),
            }
            | ({"reasons": reasons} if reasons else {})
            | ({"estimated": ["as_found_c"]} if guess_c is not None else {})
        )
    return {
        "batch": scene.batch,
        "type": scene.unit_type.name,
        "at": f"{scene.lift_mm:g} mm of lift",
        "lift_mm": scene.lift_mm,
        "marked_c": batch.marked_c(),
        "wanted_c": scene.wanted_c,
        "rounds": batch.rounds,
        "units": units,
    }


def _print(told: Told, summary: dict[str, Any], out: Path) -> None:
    shown = console()
    for batch in (told.plain, told.heated):
        shown.print(f"{batch.scene.batch}, {batch.scene.unit_type.name}", style="bold")
        shown.print(starts_table(list(batch.as_left), batch.true_c(), batch.scene.lift_mm))
        for line in remarks(list(batch.as_left)):
            shown.print(line, markup=False)
        for unit in batch.certified:
            words = f"certificate {unit.number}" if unit.number else "; ".join(unit.refusals)
            shown.print(f"{unit.serial}: {words}", markup=False)
    hours, wall_s = summary["bench_hours"], summary["wall_s"]
    shown.print(f"{hours:.1f} h on the benches in {wall_s:.1f} s; everything is in {out}")
