"""`proofbath resume`: go on with a night that ended too early."""

from __future__ import annotations

from contextlib import closing
from functools import partial
from pathlib import Path

import click

from proofbath.bench.clock import utc_text
from proofbath.bench.description import BenchFile
from proofbath.bench.night import plan_of
from proofbath.bench.process import bench_resume
from proofbath.bench.proof_record import proof_path
from proofbath.bench.release import Release, release_attendance
from proofbath.cli.night import (
    bench_of,
    night_bench_option,
    night_by_option,
    night_shop_option,
    tell_ready,
)
from proofbath.cli.night_outcome import JOURNAL, report_done, report_outcome
from proofbath.cli.night_progress import night_progress
from proofbath.cli.options import attended_option, clear_trip_option, json_option, out_option
from proofbath.cli.output import print_alarm, print_cautions
from proofbath.errors import InputError
from proofbath.files import read_toml
from proofbath.store.journal import Journal
from proofbath.workshop.nights import shop_resume
from proofbath.workshop.shop import open_shop


@click.command()
@night_bench_option
@night_shop_option
@night_by_option
@out_option("night", "Folder the night was started with; not with --shop.")
@click.option("--run", "run_id", type=int, help="Number of the run; by default the last one.")
@clear_trip_option
@attended_option
@json_option
def command(
    bench_word: str | None,
    shop_file: Path | None,
    by: str | None,
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
    if shop_file is not None:
        if by is None:
            raise click.UsageError("say with --by who goes on with the night.")
        return _of_shop(shop_file, bench_word, by, run_id, clear_trip, attended, as_json)
    if bench_word is None:
        raise click.UsageError("name the bench's file with --bench, or the workshop's with --shop.")
    bench_file = Path(bench_word)
    bench = read_toml(bench_file, BenchFile)
    if not (out / JOURNAL).exists():
        raise InputError(f"{out / JOURNAL}: no such file; name the folder of the night with --out")
    release = _released(bench, bench_file, attended)
    with night_progress() as tell:
        outcome = bench_resume(
            bench,
            out / JOURNAL,
            run_id,
            clear=clear_trip,
            on_ready=partial(tell_ready, release),
            on_progress=tell,
            on_alarm=print_alarm,
        )
    return report_outcome(outcome, out, as_json)


def _of_shop(
    shop_file: Path,
    bench_word: str | None,
    by: str,
    run_id: int | None,
    clear_trip: bool,
    attended: bool,
    as_json: bool,
) -> int:
    with open_shop(shop_file) as shop:
        name = bench_of(shop, bench_word)
        release = _released(shop.bench(name), shop.bench_files()[name], attended)
        with night_progress() as tell:
            done = shop_resume(
                shop,
                name,
                by,
                utc_text(),
                run_id,
                clear=clear_trip,
                on_ready=partial(tell_ready, release),
                on_progress=tell,
                on_alarm=print_alarm,
            )
        with closing(Journal(shop.records.place)) as journal:
            plan = plan_of(journal.run(done.outcome.run_id))
        return report_done(shop, done, plan, as_json)


def _released(bench: BenchFile, bench_file: Path, attended: bool) -> Release:
    """Say the cautions; which stations are loaded was asked when the night began."""
    release = release_attendance(bench, proof_path(bench_file), (), attended, utc_text())
    print_cautions()
    return release
