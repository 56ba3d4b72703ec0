"""`proofbath demo`: a whole night on the virtual bench, curves and start-to-open beside truth."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click
from rich.progress import BarColumn, Progress, TextColumn
from rich.table import Table

from proofbath.bench.clock import monotonic_s
from proofbath.bench.curves import unit_records
from proofbath.bench.description import BenchFile
from proofbath.bench.link import Link
from proofbath.bench.night import Progressed, run_night
from proofbath.bench.virtual_port import VirtualPort
from proofbath.cli.output import console, json_option, print_json, progress_console
from proofbath.curve.analyse import analyse
from proofbath.curve.picture import batch_picture
from proofbath.curve.record import CurveRecord, to_csv
from proofbath.curve.result import CurveResult
from proofbath.errors import BenchFaultError, InputError
from proofbath.run.plan import NightPlan
from proofbath.scenario import ferry_bench, ferry_plan
from proofbath.store.journal import Journal
from proofbath.virtual.bench import VirtualBench
from proofbath.virtual.truth import rising_c


@click.command()
@click.option(
    "--seed",
    type=click.IntRange(0, 2**31),
    default=1,
    show_default=True,
    help="Draws the bench and the units; the same seed gives the same night.",
)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    default=Path("proofbath-demo"),
    show_default=True,
    help="Folder for journal, curves, pictures and summary.",
)
@json_option
def command(seed: int, out: Path, as_json: bool) -> None:
    """Run a whole night on the virtual bench.

    A river-ferry workshop's batch of five rebuilt thermostats and the reference unit goes through
    a conditioning and three recorded cycles. The real controller sources guard the simulated bath.
    """
    began_s = monotonic_s()
    journal = _journal(out)
    bench = ferry_bench(seed)
    plan = ferry_plan(bench)
    bench_hours = _night(bench, plan, journal)
    records = unit_records(journal, journal.runs()[-1].run_id)
    journal.close()
    results = {station: _analyse(record, plan, bench) for station, record in records.items()}
    _write_curves(out, records, results)
    summary = {
        "seed": seed,
        "bench_hours": round(bench_hours, 3),
        "wall_s": round(monotonic_s() - began_s, 2),
        "units": [
            {
                "serial": record.name,
                "station": station,
                "start_to_open_c": results[station].start_to_open_c.to_json(),
                "true_start_to_open_c": _truth_c(bench, plan, station),
                "verdict": None,
            }
            for station, record in records.items()
        ],
    }
    (out / "summary.json").write_text(json.dumps(summary, indent=2, allow_nan=False) + "\n")
    if as_json:
        print_json(summary)
    else:
        _print(summary, plan, out)


def _journal(out: Path) -> Journal:
    """Make the folder and a fresh journal; what an earlier demo left there is replaced."""
    try:
        (out / "curves").mkdir(parents=True, exist_ok=True)
        for old in out.glob("journal.sqlite*"):
            old.unlink()
    except OSError as error:
        raise InputError(
            f"{out}: cannot be written: {error.strerror}; name another folder"
        ) from error
    return Journal(out / "journal.sqlite")


def _night(bench: BenchFile, plan: NightPlan, journal: Journal) -> float:
    """Run the night with progress on standard error; return its hours on the bench."""
    assert bench.virtual is not None
    port = VirtualPort(VirtualBench(bench.virtual))
    bar = Progress(
        TextColumn("{task.fields[clock]} h"),
        BarColumn(bar_width=24),
        TextColumn("bath {task.fields[bath]} °C  {task.fields[left]} h left  {task.description}"),
        console=progress_console(),
    )
    with bar:
        task = bar.add_task("starting", total=1.0, clock=" 0.0", bath=" 20.0", left=" ?")
        tell = _teller(lambda **fields: bar.update(task, **fields))
        outcome = run_night(Link(port), plan, bench, journal, clear=True, on_progress=tell)
    if outcome.status != "done":
        raise BenchFaultError(f"the night ended {outcome.status}: {outcome.reason}")
    return port.now_s() / 3600


def _teller(update: Callable[..., None]) -> Callable[[Progressed], None]:
    def tell(now: Progressed) -> None:
        update(
            completed=now.progress.fraction,
            clock=f"{now.reading.t_s / 3600:4.1f}",
            bath=f"{now.reading.bath_c:5.1f}",
            left=f"{now.progress.left_s / 3600:4.1f}",
            description=now.progress.label,
        )

    return tell


def _analyse(record: CurveRecord, plan: NightPlan, bench: BenchFile) -> CurveResult:
    unit_type = plan.unit_type
    return analyse(record, unit_type.threshold_mm, unit_type.full_lift_mm, bench.budget)


def _truth_c(bench: BenchFile, plan: NightPlan, station: int) -> float | None:
    assert bench.virtual is not None
    unit = next(u for u in bench.virtual.unit if u.station == station)
    return rising_c(unit, plan.unit_type.threshold_mm)


def _write_curves(
    out: Path, records: dict[int, CurveRecord], results: dict[int, CurveResult]
) -> None:
    for record in records.values():
        (out / "curves" / f"{record.name}.csv").write_text(to_csv(record))
    in_order = list(records.values()), [results[station] for station in records]
    (out / "curves.svg").write_bytes(batch_picture(*in_order, "svg"))
    (out / "curves.png").write_bytes(batch_picture(*in_order, "png"))


def _print(summary: dict[str, Any], plan: NightPlan, out: Path) -> None:
    threshold_mm = plan.unit_type.threshold_mm
    table = Table(title=f"Start-to-open at {threshold_mm:g} mm, rising, zero rate, in °C")
    for heading in ("station", "unit", "measured", "U (95 %)", "true", "difference"):
        table.add_column(heading, justify="left" if heading == "unit" else "right")
    for unit in summary["units"]:
        found, true_c = unit["start_to_open_c"], unit["true_start_to_open_c"]
        row = [str(unit["station"]), unit["serial"]]
        if found["value"] is None or true_c is None:
            row += [f"none: {found['reason']}", "", f"{true_c}", ""]
        else:
            row += [
                f"{found['value']:.2f}",
                f"{found['expanded_uncertainty']:.2f}",
                f"{true_c:.2f}",
                f"{found['value'] - true_c:+.2f}",
            ]
        table.add_row(*row)
    shown = console()
    shown.print(table)
    shown.print(
        f"{summary['bench_hours']:.1f} h on the bench in {summary['wall_s']:.1f} s; "
        f"curves, pictures, journal and summary.json are in {out}"
    )
