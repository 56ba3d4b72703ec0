"""`proofbath check`: the pre-flight of a bench at rest, without heating."""

from __future__ import annotations

from pathlib import Path

import click
from rich.table import Table

from proofbath.bench.connect import connected
from proofbath.bench.description import BenchFile
from proofbath.bench.night import check_bench
from proofbath.bench.preflight import Check
from proofbath.cli.output import console, json_option, print_json
from proofbath.errors import InputError
from proofbath.files import read_toml
from proofbath.wire.table import STATIONS


@click.command()
@click.option(
    "--bench",
    "bench_file",
    required=True,
    type=click.Path(path_type=Path),
    help="Bench file to look at.",
)
@click.option(
    "--stations",
    default="1,2,3,4,5,6",
    show_default=True,
    help="Stations in use, parted by commas.",
)
@json_option
def command(bench_file: Path, stations: str, as_json: bool) -> int:
    """Look at a bench at rest: controller, probes, inputs, gauges. Nothing is heated.

    Exit status 3 when anything is not as it should be.
    """
    loaded = _stations(stations)
    bench = read_toml(bench_file, BenchFile)
    with connected(bench) as link:
        checks = check_bench(link, bench, loaded)
    if as_json:
        print_json({"ok": all(c.ok for c in checks), "checks": [c._asdict() for c in checks]})
    else:
        _print(checks)
    return 0 if all(check.ok for check in checks) else 3


def _stations(text: str) -> tuple[int, ...]:
    parts = [part.strip() for part in text.split(",")]
    known = {str(n): n for n in range(1, STATIONS + 1)}
    wrong = [part for part in parts if part not in known]
    if wrong:
        raise InputError(
            f"--stations: {wrong[0]!r} is no station; give numbers from 1 to {STATIONS}"
        )
    return tuple(sorted({known[part] for part in parts}))


def _print(checks: list[Check]) -> None:
    table = Table()
    for heading in ("", "what", "measured", "wanted", "what to do"):
        table.add_column(heading)
    for check in checks:
        row = (check.what, check.measured, check.wanted, "" if check.ok else check.remedy)
        table.add_row("ok" if check.ok else "NOT OK", *row)
    console().print(table)
