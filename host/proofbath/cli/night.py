"""`proofbath night`: one plan on one bench, from checks before heat to curves."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Any

import click

from proofbath.bench.clock import seconds_of_day, utc_text
from proofbath.bench.description import BenchFile
from proofbath.bench.loop import Outcome
from proofbath.bench.night import check_night
from proofbath.bench.process import bench_night
from proofbath.bench.proof_record import proof_path
from proofbath.bench.ready import Ready
from proofbath.bench.release import Release, release_attendance, release_loading
from proofbath.cli.night_progress import night_progress
from proofbath.cli.night_report import (
    UnitReport,
    make_folder,
    read_night,
    remarks,
    starts_table,
    write_json,
    write_night,
)
from proofbath.cli.options import (
    attended_option,
    bench_option,
    clear_trip_option,
    json_option,
    out_option,
)
from proofbath.cli.output import console, print_json, progress_console
from proofbath.files import read_toml
from proofbath.run.check import CheckedPlan
from proofbath.run.plan import NightPlan
from proofbath.store.journal import Journal

JOURNAL = "journal.sqlite"
CAUTIONS = (
    "Hot bath: scald hazard until it is below 45 °C.  The hard-wired cut-out, lid, level and"
    " emergency stop must be in order.  Heat may be left alone only where local rules allow it."
)


@click.command()
@click.argument("plan_file", metavar="PLAN", type=click.Path(path_type=Path))
@bench_option("Bench file: port, coolant, bath, limits, calibration.")
@out_option("night", "Folder for the journal (nights are added), curves and results.")
@clear_trip_option
@attended_option
@click.option(
    "--loaded-as-planned",
    "loaded",
    metavar="WORD",
    default="",
    help="Leave the guided loading out; WORD says why or who, and is kept with the run.",
)
@click.option(
    "--only-check",
    is_flag=True,
    help="Check the plan against the bench file and stop; nothing is heated.",
)
@json_option
def command(
    plan_file: Path,
    bench_file: Path,
    out: Path,
    clear_trip: bool,
    attended: bool,
    loaded: str,
    only_check: bool,
    as_json: bool,
) -> int:
    """Run a night: PLAN says what is loaded and what the bath does.

    A real bench is loaded first with `proofbath loading`, and is left alone only when its
    interlocks are proven (`proofbath check --commission`). The plan is checked whole before any
    heat. Ctrl-C stops the run, switches everything off and keeps what was measured. Exit status
    3 means the night ended before its plan did.
    """
    plan, bench = read_toml(plan_file, NightPlan), read_toml(bench_file, BenchFile)
    if only_check:
        _tell_plan(check_night(plan, bench, seconds_of_day()), as_json)
        return 0
    stations = [place.station for place in plan.station]
    release = release_attendance(bench, proof_path(bench_file), stations, attended, utc_text())
    loading = release_loading(plan, bench, out, loaded, utc_text())
    make_folder(out)
    progress_console().print(CAUTIONS)
    with night_progress() as tell:
        outcome = bench_night(
            plan,
            bench,
            out / JOURNAL,
            clear=clear_trip,
            on_ready=partial(tell_ready, release),
            on_progress=tell,
            remarks=(*release.remarks, *loading),
        )
    return report_outcome(outcome, out, as_json)


def _tell_plan(checked: CheckedPlan, as_json: bool) -> None:
    if as_json:
        figures = checked._asdict()
        del figures["legs"]
        print_json(figures)
        return
    shown = console()
    shown.print("The plan may run on this bench, begun now:")
    for line in forecast_lines(checked):
        shown.print(line)


def forecast_lines(checked: CheckedPlan) -> list[str]:
    """Return what a person should know of a checked plan: warnings, hours, where to fill to."""
    ready, cold = (_in_hours(s) for s in (checked.ready_s, checked.cold_s))
    return [
        *(f"warning: {warning}" for warning in checked.warnings),
        f"the data are there after {ready}, the bath may be opened after {cold}",
        f"fill to {checked.fill_above_switch_l:.1f} l above the level switch at least:"
        " twice what the night evaporates",
    ]


def _in_hours(after_s: float) -> str:
    """Return a duration and the local time at its end, e.g. "4:48 h (at 05:12)"."""
    minutes = round(after_s / 60)
    at_minute = round((seconds_of_day() + after_s) / 60) % (24 * 60)
    return f"{minutes // 60}:{minutes % 60:02} h (at {at_minute // 60:02}:{at_minute % 60:02})"


def tell_ready(release: Release, ready: Ready) -> None:
    """Refuse a controller that is not proven; print what the checks before heat found."""
    release.check_controller(ready.identity)
    for line in forecast_lines(ready.checked):
        progress_console().print(line)


def report_outcome(outcome: Outcome, out: Path, as_json: bool) -> int:
    """Analyse a run that ended, write its files, print it, and return the exit status."""
    journal = Journal(out / JOURNAL)
    plan = NightPlan.model_validate_json(journal.run(outcome.run_id).head.plan_text)
    reports = read_night(journal, outcome.run_id)
    journal.close()
    if reports:
        write_night(out, reports)
    found = _found(outcome, plan, reports)
    write_json(out / f"run-{outcome.run_id}.json", found)
    if as_json:
        print_json(found)
    else:
        _print(outcome, reports, out)
    return exit_status(outcome)


def exit_status(outcome: Outcome) -> int:
    """Return 0 for a night that was done, 3 for one that ended before its plan did."""
    return 0 if outcome.status == "done" else 3


def _found(outcome: Outcome, plan: NightPlan, reports: list[UnitReport]) -> dict[str, Any]:
    return {
        "run": outcome.run_id,
        "status": outcome.status,
        "reason": outcome.reason,
        "batch": plan.batch,
        "unit_type": plan.unit_type.name,
        "units": [
            {
                "serial": report.serial,
                "station": report.station,
                "role": report.role,
                **report.result.to_json(),
            }
            for report in reports
        ],
    }


def _print(outcome: Outcome, reports: list[UnitReport], out: Path) -> None:
    shown = console()
    if reports:
        shown.print(starts_table(reports, {}))
    for line in remarks(reports):
        shown.print(line)
    ending = f": {outcome.reason}" if outcome.reason else ""
    shown.print(f"run {outcome.run_id} {outcome.status}{ending}; files are in {out}")
