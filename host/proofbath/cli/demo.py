"""`proofbath demo`: a whole night on the virtual bench, curves and start-to-open beside truth."""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import click

from proofbath.bench.clock import monotonic_s
from proofbath.bench.description import BenchFile
from proofbath.bench.process import bench_night
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
from proofbath.cli.options import json_option, out_option
from proofbath.cli.output import console, print_json
from proofbath.errors import BenchFaultError
from proofbath.run.plan import NightPlan
from proofbath.scenario import ferry_bench, ferry_plan
from proofbath.store.journal import Journal
from proofbath.virtual.truth import rising_c


@click.command()
@click.option(
    "--seed",
    type=click.IntRange(0, 2**31),
    default=1,
    show_default=True,
    help="Draws the bench and the units; the same seed gives the same night.",
)
@out_option("proofbath-demo", "Folder for journal, curves, pictures and summary.")
@json_option
def command(seed: int, out: Path, as_json: bool) -> None:
    """Run a whole night on the virtual bench.

    A river-ferry workshop's batch of five rebuilt thermostats and the reference unit goes through
    a conditioning and three recorded cycles. The real controller sources guard the simulated bath.
    """
    began_s = monotonic_s()
    bench = ferry_bench(seed)
    plan = ferry_plan(bench)
    bench_hours, reports = _night(bench, plan, out)
    write_night(out, reports)
    true_c = _true_c(bench, plan)
    wall_s = monotonic_s() - began_s
    summary = _summary(seed, bench_hours, wall_s, reports, true_c)
    write_json(out / "summary.json", summary)
    if as_json:
        print_json(summary)
        return
    shown = console()
    shown.print(starts_table(reports, true_c))
    for line in remarks(reports):
        shown.print(line)
    shown.print(
        f"{bench_hours:.1f} h on the bench in {wall_s:.1f} s; "
        f"curves, pictures, journal and summary.json are in {out}"
    )


def _night(bench: BenchFile, plan: NightPlan, out: Path) -> tuple[float, list[UnitReport]]:
    """Run the night into a fresh journal; return its hours and what each unit's curve says."""
    make_folder(out)
    path = out / "journal.sqlite"
    for old in out.glob("journal.sqlite*"):
        old.unlink()
    # A folder of its own for lock and commands: demos may run side by side.
    with night_progress() as tell, TemporaryDirectory() as folder:
        outcome = bench_night(plan, bench, path, clear=True, on_progress=tell, folder=Path(folder))
    if outcome.status != "done":
        raise BenchFaultError(f"the night ended {outcome.status}: {outcome.reason}")
    journal = Journal(path)
    clock_ms = journal.samples(outcome.run_id)["device_ms"]
    reports = read_night(journal, outcome.run_id)
    journal.close()
    return float(clock_ms[-1] - clock_ms[0]) / 3.6e6, reports


def _true_c(bench: BenchFile, plan: NightPlan) -> dict[int, float | None]:
    assert bench.virtual is not None
    at_mm = plan.unit_type.threshold_mm
    return {unit.station: rising_c(unit, at_mm) for unit in bench.virtual.unit}


def _summary(
    seed: int,
    bench_hours: float,
    wall_s: float,
    reports: list[UnitReport],
    true_c: dict[int, float | None],
) -> dict[str, Any]:
    return {
        "seed": seed,
        "bench_hours": round(bench_hours, 3),
        "wall_s": round(wall_s, 2),
        "units": [
            {
                "serial": report.serial,
                "station": report.station,
                "start_to_open_c": report.result.start_to_open_c.to_json(),
                "true_start_to_open_c": true_c[report.station],
                "verdict": None,
            }
            for report in reports
        ],
    }
