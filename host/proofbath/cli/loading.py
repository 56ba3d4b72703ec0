"""`proofbath loading`: hang up a night's units with every station checked, and take them off."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

import click

from proofbath.bench.clock import utc_text
from proofbath.bench.connect import connected, simulated
from proofbath.bench.description import VIRTUAL_PORT, BenchFile
from proofbath.bench.link import Link
from proofbath.bench.loading_guide import Loaded, guide_loading
from proofbath.bench.loading_record import loading_record, save_loading
from proofbath.bench.night import check_night
from proofbath.bench.run import read_run
from proofbath.bench.unit_analysis import UnitReport
from proofbath.bench.virtual_person import VirtualPerson
from proofbath.bench.virtual_port import VirtualPort
from proofbath.cli.night_report import night_reports
from proofbath.cli.options import json_option, out_option
from proofbath.cli.output import console, print_json
from proofbath.cli.person import KeyboardPerson
from proofbath.cli.shop_options import IN_FOLDER, bench_here
from proofbath.cli.whole_table import Table
from proofbath.errors import InputError
from proofbath.files import read_toml
from proofbath.run.plan import NightPlan
from proofbath.run.profiles import OPEN_C
from proofbath.store.journal import Journal
from proofbath.virtual.bench import VirtualBench

JOURNAL = "journal.sqlite"


@click.command()
@click.argument("plan_file", metavar="[PLAN]", required=False, type=click.Path(path_type=Path))
@click.option(
    "--bench",
    "bench_file",
    type=click.Path(path_type=Path),
    default=bench_here,
    show_default=IN_FOLDER,
    help="Bench file to load.",
)
@out_option("night", "Folder of the night.")
@click.option("--person", default="", help="Who loads; kept in the record.")
@click.option("--unload", is_flag=True, help="List what hangs where and what was found.")
@json_option
def command(
    plan_file: Path | None,
    bench_file: Path | None,
    out: Path,
    person: str,
    unload: bool,
    as_json: bool,
) -> None:
    """Hang up the units of PLAN, each station checked before the next.

    Serial, gauge pre-load, the valve pressed by hand, and at the end the heaters' resistance:
    a mismatch stops the start. The record in the night's folder is what `night` starts from.
    With --unload no PLAN is needed: the folder's last night is listed for taking the units off.
    """
    if unload:
        _unload(out, as_json)
        return
    if plan_file is None or bench_file is None:
        raise click.UsageError("name the night's PLAN and --bench, or say --unload.")
    plan, bench = read_toml(plan_file, NightPlan), read_toml(bench_file, BenchFile)
    check_night(plan, bench)
    loaded = _load(plan, bench)
    record = loading_record(
        plan, bench.bench.name, loaded.identity.serial_number, loaded.checks, utc_text(), person
    )
    path = save_loading(out, record)
    if as_json:
        print_json(record.model_dump())
    else:
        console().print(f"loaded as planned; {path} says so to the night")


def _load(plan: NightPlan, bench: BenchFile) -> Loaded:
    if bench.bench.port == VIRTUAL_PORT:
        assert bench.virtual is not None, "the bench file's own check"
        plant = VirtualBench(bench.virtual)
        played = VirtualPerson(plant, KeyboardPerson().tell)
        return guide_loading(Link(VirtualPort(plant)), plan, bench, played)
    if simulated(bench):
        raise InputError("loading: nobody can press a valve in a simulator; start the night")
    with connected(bench) as link:
        return guide_loading(link, plan, bench, KeyboardPerson())


def _unload(out: Path, as_json: bool) -> None:
    path = out / JOURNAL
    if not path.exists():
        raise InputError(f"{path}: no such file; name the folder of the night with --out")
    with closing(Journal(path)) as journal:
        runs = journal.runs()
        if not runs:
            raise InputError(f"{path}: holds no run yet")
        run = read_run(journal, runs[-1].run_id)
    plan, reports = run.plan, {report.station: report for report in night_reports(run)}
    rows = [
        {
            "station": place.station,
            "serial": place.serial,
            "role": place.role,
            "found": _found(reports.get(place.station)),
        }
        for place in sorted(plan.station, key=lambda place: place.station)
    ]
    if as_json:
        print_json({"run": run.run_id, "status": run.line.status, "stations": rows})
        return
    table = Table(title=f"Unload run {run.run_id} ({run.line.status}), batch {plan.batch}")
    for heading in ("station", "serial", "role", "found"):
        table.add_column(heading)
    for row in rows:
        table.add_row(*map(str, row.values()))
    shown = console()
    shown.print(f"Scald hazard: open the bath only below {OPEN_C:.0f} °C.")
    shown.print(table)


def _found(report: UnitReport | None) -> str:
    if report is None:
        return "no record"
    start = report.result.start_to_open_c
    warned = [w.code for w in report.result.warnings]
    said = f"no start-to-open: {start.reason}"
    if start.value is not None:
        said = f"starts to open at {start.value:.2f} ± {start.expanded_uncertainty:.2f} °C"
    return "; ".join([said, *warned])
