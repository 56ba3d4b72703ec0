"""`proofbath resume`: go on with a night that ended too early."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import click

from proofbath.bench.clock import utc_text
from proofbath.bench.description import BenchFile
from proofbath.bench.process import bench_resume
from proofbath.bench.proof_record import proof_path
from proofbath.bench.release import release_attendance
from proofbath.cli.night import CAUTIONS, JOURNAL, report_outcome, tell_ready
from proofbath.cli.night_progress import night_progress
from proofbath.cli.options import (
    attended_option,
    bench_option,
    clear_trip_option,
    json_option,
    out_option,
)
from proofbath.cli.output import progress_console
from proofbath.errors import InputError
from proofbath.files import read_toml


@click.command()
@bench_option("Bench file the night was started with.")
@out_option("night", "Folder the night was started with.")
@click.option("--run", "run_id", type=int, help="Number of the run; by default the last one.")
@clear_trip_option
@attended_option
@json_option
def command(
    bench_file: Path,
    out: Path,
    run_id: int | None,
    clear_trip: bool,
    attended: bool,
    as_json: bool,
) -> int:
    """Go on with a night that ended too early, as one record.

    It goes on at its step where the units' branch still holds, else that cycle begins again.
    After a power failure or a trip a person must have looked: --clear-trip says so.
    """
    bench = read_toml(bench_file, BenchFile)
    if not (out / JOURNAL).exists():
        raise InputError(f"{out / JOURNAL}: no such file; name the folder of the night with --out")
    # Which stations are loaded was asked when the night began.
    release = release_attendance(bench, proof_path(bench_file), (), attended, utc_text())
    progress_console().print(CAUTIONS)
    with night_progress() as tell:
        outcome = bench_resume(
            bench,
            out / JOURNAL,
            run_id,
            clear=clear_trip,
            on_ready=partial(tell_ready, release),
            on_progress=tell,
        )
    return report_outcome(outcome, out, as_json)
