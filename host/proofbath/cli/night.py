"""`proofbath night`: one plan on one bench, from checks before heat to curves."""

from __future__ import annotations

import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import NamedTuple

import click

from proofbath.bench.clock import seconds_of_day, utc_text
from proofbath.bench.description import BenchFile
from proofbath.bench.in_force import bench_in_force
from proofbath.bench.night import Progressed, check_night
from proofbath.bench.process import bench_night
from proofbath.bench.ready import Ready
from proofbath.bench.release import Release, release_attendance, release_loading
from proofbath.cli.night_outcome import JOURNAL, report_done, report_outcome
from proofbath.cli.night_progress import night_progress
from proofbath.cli.night_verdict import verdict_in
from proofbath.cli.options import attended_option, clear_trip_option, json_option, out_option
from proofbath.cli.output import (
    console,
    print_alarm,
    print_cautions,
    print_json,
    progress_console,
)
from proofbath.errors import InputError
from proofbath.files import read_toml
from proofbath.run.check import ASK_ABOVE_S, CheckedPlan, duration_fault
from proofbath.run.on_times import OnTimes
from proofbath.run.plan import NightPlan
from proofbath.workshop.entry import day_of
from proofbath.workshop.night_files import make_folder
from proofbath.workshop.nights import certify_blocks, shop_night
from proofbath.workshop.planning import loading_faults
from proofbath.workshop.shop import Shop, open_shop

night_bench_option = click.option(
    "--bench",
    "bench_word",
    metavar="FILE|NAME",
    help="Bench file: port, coolant, bath, limits, calibration. With --shop one of the"
    " workshop's, by file or name; left out where it has only one.",
)
night_shop_option = click.option(
    "--shop",
    "shop_file",
    type=click.Path(path_type=Path),
    help="The workshop's file: the night is its own, on record.",
)
night_by_option = click.option("--by", help="Who starts it: a person on record; with --shop.")


@click.command()
@click.argument("plan_file", metavar="PLAN", type=click.Path(path_type=Path))
@night_bench_option
@night_shop_option
@night_by_option
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
    "--verdict",
    "verdict_file",
    type=click.Path(path_type=Path),
    hidden=True,
    help="Write one line of JSON into this file as soon as the run has begun or is refused.",
)
@click.option(
    "--only-check",
    is_flag=True,
    help="Check the plan against the bench file and stop; nothing is heated.",
)
@click.option(
    "--yes", is_flag=True, help="Start a night of more than 14 h without being asked about it."
)
@click.option("--long", "is_long", is_flag=True, help="Let the night take more than 36 h.")
@json_option
def command(
    plan_file: Path,
    bench_word: str | None,
    shop_file: Path | None,
    by: str | None,
    out: Path,
    clear_trip: bool,
    attended: bool,
    loaded: str,
    verdict_file: Path | None,
    only_check: bool,
    yes: bool,
    is_long: bool,
    as_json: bool,
) -> int:
    """Run a night: PLAN says what is loaded and what the bath does.

    A real bench is loaded first with `proofbath loading`, and is left alone only when its
    interlocks are proven (`proofbath check --commission`). The plan is checked whole before any
    heat. Ctrl-C stops the run, switches everything off and keeps what was measured. Exit status
    3 means the night ended before its plan did; the bench is then watched until it is below 45 °C,
    or until a second Ctrl-C or `proofbath bench leave`. Exit status 4 means that something still
    heated then: pull the main isolator.

    With --shop the night is the workshop's: the bench as it is calibrated today, journal, loading
    and results on record, files in its folder of nights; --out then only names the folder of the
    guided loading.
    """
    with verdict_in(verdict_file) as begun:
        plan = read_toml(plan_file, NightPlan)
        asked = Asked(
            plan, out, clear_trip, attended, loaded, only_check, yes, is_long, as_json, begun
        )
        if shop_file is not None:
            return _shop_night(asked, shop_file, bench_word, by)
        if bench_word is None:
            raise click.UsageError(
                "name the bench's file with --bench, or the workshop's with --shop."
            )
        if by is not None:
            raise click.UsageError("--by belongs to a night of the workshop: add --shop.")
        return _folder_night(asked, Path(bench_word))


class Asked(NamedTuple):
    """What a night was asked for, wherever it is kept."""

    plan: NightPlan
    out: Path
    clear_trip: bool
    attended: bool
    loaded: str
    only_check: bool
    yes: bool
    is_long: bool
    as_json: bool
    begun: Callable[[], None]
    """To be called once the run is under way."""

    def telling(self, tell: Callable[[Progressed], None]) -> Callable[[Progressed], None]:
        """Return what tells of a run's progress, and once of its begin."""

        def progressed(now: Progressed) -> None:
            self.begun()
            tell(now)

        return progressed


def _folder_night(asked: Asked, bench_file: Path) -> int:
    plan, bench, out = asked.plan, read_toml(bench_file, BenchFile), asked.out
    checked = _not_too_long(check_night(plan, bench, seconds_of_day()), asked)
    if asked.only_check:
        _tell_plan(checked, asked.as_json)
        return 0
    _ask_about_hours(checked, asked)
    release, remarks = _released(asked, bench, bench_file)
    make_folder(out)
    print_cautions()
    with night_progress() as tell:
        outcome = bench_night(
            plan,
            bench,
            out / JOURNAL,
            clear=asked.clear_trip,
            on_ready=partial(tell_ready, release),
            on_progress=asked.telling(tell),
            on_alarm=print_alarm,
            remarks=remarks,
        )
    return report_outcome(outcome, out, asked.as_json)


def _shop_night(asked: Asked, shop_file: Path, bench_word: str | None, by: str | None) -> int:
    plan, at = asked.plan, utc_text()
    with open_shop(shop_file) as shop:
        name = bench_of(shop, bench_word)
        bench = bench_in_force(shop.records, shop.bench(name), day_of(at))
        for why in certify_blocks(shop, plan, bench, day_of(at)):
            line = f"warning: could not be certified: {why}"
            progress_console().print(line, markup=False, soft_wrap=True)
        if asked.only_check:
            faults = loading_faults(shop.records, plan)
            if faults:
                raise InputError(*faults)
        checked = _not_too_long(check_night(plan, bench, seconds_of_day()), asked)
        if asked.only_check:
            _tell_plan(checked, asked.as_json)
            return 0
        if by is None:
            raise click.UsageError("say with --by who starts the night.")
        _ask_about_hours(checked, asked)
        release, remarks = _released(asked, bench, shop.bench_files()[name])
        print_cautions()
        with night_progress() as tell:
            done = shop_night(
                shop,
                plan,
                name,
                by,
                at,
                clear=asked.clear_trip,
                on_ready=partial(tell_ready, release),
                on_progress=asked.telling(tell),
                on_alarm=print_alarm,
                remarks=remarks,
            )
        return report_done(shop, done, plan, asked.as_json)


def _released(
    asked: Asked, bench: BenchFile, bench_file: Path
) -> tuple[Release, tuple[tuple[str, str], ...]]:
    """How the night may heat and how it was loaded; refused where it may not."""
    stations = [place.station for place in asked.plan.station]
    now = utc_text()
    release = release_attendance(bench, bench_file, stations, asked.attended, now)
    loading = release_loading(asked.plan, bench, asked.out, asked.loaded, now)
    return release, (*release.remarks, *loading)


def _not_too_long(checked: CheckedPlan, asked: Asked) -> CheckedPlan:
    fault = "" if asked.is_long else duration_fault(checked)
    if fault:
        raise InputError(fault)
    return checked


def _ask_about_hours(checked: CheckedPlan, asked: Asked) -> None:
    """Ask a person at the keyboard whether a long night is meant; another needs --yes."""
    hours = checked.expected_s / 3600
    if checked.expected_s <= ASK_ABOVE_S or asked.yes or asked.is_long:
        return
    limit = f"the night takes {hours:.1f} h, more than {ASK_ABOVE_S / 3600:.0f} h"
    if not sys.stdin.isatty():
        raise InputError(f"{limit}; say --yes if it is meant")
    click.confirm(f"{limit}. Start it?", abort=True, err=True)


def bench_of(shop: Shop, word: str | None) -> str:
    """Return the bench that a word means: its name, its file, or the only one there is."""
    files = shop.bench_files()
    if word is None and len(files) == 1:
        return next(iter(files))
    by_file = {path.resolve(): name for name, path in files.items()}
    found = word if word in files else by_file.get(Path(word or "").resolve())
    if found is None:
        said = f"bench {word!r}: not the workshop's" if word else "which bench?"
        raise InputError(f"{said}; say --bench with one of {', '.join(files) or 'none there are'}")
    return found


def _tell_plan(checked: CheckedPlan, as_json: bool) -> None:
    if as_json:
        figures = {**checked._asdict(), "on": checked.on._asdict()}
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
    on = checked.on
    return [
        *(f"warning: {warning}" for warning in checked.warnings),
        *(f"{name}: {_hours(took_s)} long" for name, took_s in checked.parts),
        f"the data are there after {ready}, the bath may be opened after {cold}",
        f"fill to {checked.fill_above_switch_l:.1f} l above the level switch at least:"
        " twice what the night evaporates",
        f"the heater will be on for {_hours(on.heater_s)}, the controller ends the night after"
        f" {_hours(on.heater_limit_s)} of it",
        *(_element_lines(on) if any(on.element_s) else ()),
    ]


def _element_lines(on: OnTimes) -> list[str]:
    """One line for the stations that are fed alike."""
    alike: dict[tuple[float, int], list[str]] = {}
    for station, times in enumerate(zip(on.element_s, on.element_limit_s, strict=True), 1):
        alike.setdefault(times, []).append(str(station))
    return [
        f"elements of station {', '.join(stations)}: fed for {fed_s / 60:.0f} min at a stretch at"
        f" most, the controller switches them off after {limit_s / 60:.0f} min"
        for (fed_s, limit_s), stations in alike.items()
        if fed_s
    ]


def _hours(seconds: float) -> str:
    minutes = round(seconds / 60)
    return f"{minutes // 60}:{minutes % 60:02} h"


def _in_hours(after_s: float) -> str:
    """Return a duration and the local time at its end, e.g. "4:48 h (at 05:12)"."""
    at_minute = round((seconds_of_day() + after_s) / 60) % (24 * 60)
    return f"{_hours(after_s)} (at {at_minute // 60:02}:{at_minute % 60:02})"


def tell_ready(release: Release, ready: Ready) -> None:
    """Refuse a controller that is not proven; print what the checks before heat found."""
    release.check_controller(ready.identity)
    for line in forecast_lines(ready.checked):
        progress_console().print(line)
