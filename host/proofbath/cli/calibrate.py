"""`proofbath calibrate`: guided calibrations of a bench, put on record."""

from __future__ import annotations

import datetime as dt
from contextlib import closing
from pathlib import Path
from typing import Literal, cast

import click

from proofbath.bench.calibrate import (
    STEADY_K,
    Thermometry,
    blank_plan,
    blanks_of,
    calibrate_gauge,
    calibrate_probes,
    check_probes,
    sums_per_k,
)
from proofbath.bench.calibrate_element import Circuit, calibrate_element
from proofbath.bench.calibration_content import CheckContent, ProbeContent, ProbePoint
from proofbath.bench.calibration_fit import fit_probes
from proofbath.bench.clock import utc_text
from proofbath.bench.compare import compared_points, holds_of
from proofbath.bench.description import BenchFile
from proofbath.bench.in_force import Shelf, bench_in_force, blocking_reasons
from proofbath.bench.process import bench_night
from proofbath.bench.virtual_workplace import virtual_blanks
from proofbath.bench.workplace import PlaceKind
from proofbath.cli.calibrate_session import (
    Asked,
    Keyboard,
    Session,
    asked_options,
    instrument,
    keep,
    on_option,
    open_records,
    records_option,
    session,
    tell,
    today,
    virtual_of,
    workplace,
)
from proofbath.cli.night_progress import night_progress
from proofbath.cli.options import bench_option, json_option
from proofbath.cli.output import console, print_cautions, print_json
from proofbath.cli.whole_table import Table
from proofbath.errors import BenchFaultError, InputError
from proofbath.files import read_toml
from proofbath.store.journal import Journal
from proofbath.store.kinds import Handling, Person
from proofbath.store.records import Stamp
from proofbath.wire.table import STATIONS

_EVERY = tuple(range(1, STATIONS + 1))
_DAY = click.DateTime(["%Y-%m-%d"])
station_option = click.option(
    "--station",
    "stations",
    type=click.IntRange(1, STATIONS),
    multiple=True,
    help="Station; may be given more than once, every one when left out.",
)


@click.group()
def command() -> None:
    """Calibrate a bench, step by step, and put it on record.

    Probes at ice and steam or against a thermometer, gauges on blocks, element channels through
    resistors, and the blank night. Hot liquid and steam scald; mains kills: isolate before wiring.
    """


@command.command()
@asked_options
@click.option("--check", is_flag=True, help="Only look at the ice point; nothing is changed.")
@click.option("--points", default="ice,steam", show_default=True, help="Fixed points.")
@click.option("--compare", default="", help="Temperatures of a comparison in °C, e.g. 40,60,80.")
@click.option(
    "--run",
    "run_id",
    type=int,
    help="Comparison in the bench's own bath: a night on record whose plan holds it at some"
    " temperatures; you are asked what the thermometer showed at the end of each hold.",
)
@click.option("--thermometer", help="Reference thermometer, with its certificate's number.")
@click.option("--thermometer-u-k", type=float, help="Its expanded uncertainty (k = 2).")
@click.option("--thermometer-due", type=_DAY, help="When its own calibration is due.")
@click.option(
    "--pressure-u-kpa",
    default=0.1,
    show_default=True,
    help="Standard uncertainty of the barometer.",
)
def probe(
    asked: Asked,
    check: bool,
    points: str,
    compare: str,
    run_id: int | None,
    thermometer: str | None,
    thermometer_u_k: float | None,
    thermometer_due: dt.datetime | None,
    pressure_u_kpa: float,
) -> int:
    """Calibrate both probes: ice point, steam point, comparison with a thermometer."""
    compare_c = numbers(compare, "--compare")
    means = Thermometry(
        _points(points),
        compare_c,
        instrument(thermometer, thermometer_u_k, thermometer_due) if compare_c or run_id else None,
        pressure_u_kpa,
    )
    with session(asked) as work:
        content = _checked(asked, work) if check else _calibrated(asked, work, means, run_id)
        return tell(asked, [keep(work, content)])


def _checked(asked: Asked, work: Session) -> CheckContent:
    with workplace(asked, work.bench) as place:
        return check_probes(place, work.bench, work.in_force.calibration)


def _calibrated(
    asked: Asked, work: Session, means: Thermometry, run_id: int | None
) -> ProbeContent:
    before, beside = work.in_force.calibration, tuple[ProbePoint, ...]()
    if run_id is not None and means.thermometer is not None:
        budget = work.in_force.budget
        with closing(Journal(work.records.place)) as journal:
            holds = holds_of(journal, run_id, STEADY_K * sums_per_k(before.bath))
        beside = compared_points(
            holds,
            means.thermometer,
            budget.gradient_k if budget else None,
            lambda text: Keyboard().number(text, None),
        )
    if not means.points and not means.compare_c:
        return fit_probes(beside, before.bath, before.guard, means.thermometer)
    with workplace(asked, work.bench) as place:
        return calibrate_probes(place, work.bench, means, before, beside)


@command.command()
@asked_options
@station_option
@click.option("--blocks-mm", default="0,2,4,6,8,10", show_default=True, help="Heights in mm.")
@click.option("--set", "name", required=True, help="Gauge blocks or spacers, with their number.")
@click.option("--set-u-mm", type=float, required=True, help="Their expanded uncertainty (k = 2).")
@click.option("--set-due", type=_DAY, help="When their own calibration is due.")
def gauge(
    asked: Asked,
    stations: tuple[int, ...],
    blocks_mm: str,
    name: str,
    set_u_mm: float,
    set_due: dt.datetime | None,
) -> int:
    """Calibrate lift gauges on blocks of known height."""
    heights, blocks = numbers(blocks_mm, "--blocks-mm"), instrument(name, set_u_mm, set_due)
    with session(asked) as work, workplace(asked, work.bench) as place:
        before = work.in_force.calibration
        return tell(
            asked,
            [
                keep(work, calibrate_gauge(place, n, heights, blocks, before), n)
                for n in stations or _EVERY
            ],
        )


@command.command()
@asked_options
@station_option
@click.option("--currents-a", default="0.2,0.4,0.6", show_default=True, help="Currents in A.")
@click.option("--resistors-ohm", default="10,20", show_default=True, help="Known resistors.")
@click.option("--meter", required=True, help="Reference ammeter, with its number.")
@click.option("--meter-u-percent", type=float, required=True, help="Its U of reading (k = 2).")
@click.option("--meter-due", type=_DAY, help="When its own calibration is due.")
@click.option("--resistors", "loads", required=True, help="The resistors, with their number.")
@click.option("--resistors-u-percent", type=float, required=True, help="Their U (k = 2).")
@click.option("--clear-trip", is_flag=True, help="You have removed the cause of a latched trip.")
def element(
    asked: Asked,
    stations: tuple[int, ...],
    currents_a: str,
    resistors_ohm: str,
    meter: str,
    meter_u_percent: float,
    meter_due: dt.datetime | None,
    loads: str,
    resistors_u_percent: float,
    clear_trip: bool,
) -> int:
    """Calibrate element channels: current, set-point, voltage and lead resistance.

    Currents flow for 20 s at a time through resistors that hang in the element's place.
    """
    circuit = Circuit(
        numbers(currents_a, "--currents-a"),
        numbers(resistors_ohm, "--resistors-ohm"),
        instrument(meter, meter_u_percent / 100, meter_due),
        instrument(loads, resistors_u_percent / 100, None),
    )
    with session(asked) as work, workplace(asked, work.bench, clear_trip) as place:
        before = work.in_force.calibration
        return tell(
            asked,
            [
                keep(work, calibrate_element(place, work.bench, n, circuit, before), n)
                for n in stations or _EVERY
            ],
        )


@command.command()
@asked_options
@click.option("--run", "run_id", type=int, help="A blank night that was run already.")
@click.option("--clear-trip", is_flag=True, help="You have removed the cause of a latched trip.")
def blank(asked: Asked, run_id: int | None, clear_trip: bool) -> int:
    """Run the blank night: solid bars at all six stations, one rise and one fall.

    It holds until fixture or gauge is touched, and for 12 months at most.
    """
    with session(asked) as work:
        run_id = run_id or _blank_night(asked, work, clear_trip)
        with closing(Journal(work.records.place)) as journal:
            curves = blanks_of(journal, run_id, work.in_force.calibration)
        return tell(asked, [keep(work, curve, n) for n, curve in curves.items()])


@command.command()
@bench_option("Bench file.")
@records_option
@on_option
@click.option("--by", required=True, help="Who did it: a person on record.")
@click.option(
    "--what",
    required=True,
    type=click.Choice(["fixture", "gauge", "probe", "element channel"]),
    help="What was taken off, moved, mended or exchanged.",
)
@click.option(
    "--station",
    default=0,
    type=click.IntRange(0, STATIONS),
    help="Station; all of them when left out.",
)
@click.argument("text")
@json_option
def touched(
    bench_file: Path,
    records_text: str,
    on: dt.datetime | None,
    by: str,
    what: Literal["fixture", "gauge", "probe", "element channel"],
    station: int,
    text: str,
    as_json: bool,
) -> None:
    """Put on record that something was touched, as TEXT says: its calibration ends there."""
    name = read_toml(bench_file, BenchFile).bench.name
    entry = Handling(bench=name, station=station, what=what, date=today(on), text=text)
    with open_records(records_text) as records:
        number = records.add(entry, Stamp(utc_text(), records.find(Person, name=by).root))
    if as_json:
        print_json({"handling": number, **entry.model_dump(mode="json")})
    else:
        console().print(f"{what}: on record as touched on {entry.date}", markup=False)


@command.command()
@bench_option("Bench file.")
@records_option
@on_option
@click.option("--powered", is_flag=True, help="Elements are fed: their channels count too.")
@json_option
def status(
    bench_file: Path, records_text: str, on: dt.datetime | None, powered: bool, as_json: bool
) -> int:
    """Show what is on record and what keeps from certifying; exit status 1 when anything does."""
    bench, day = read_toml(bench_file, BenchFile), today(on)
    with open_records(records_text) as records:
        shelf = Shelf(records, bench.bench.name, day)
        reasons = blocking_reasons(records, bench, day, powered=powered)
    wanted = [("probe", 0), ("check", 0)]
    wanted += [(kind, n) for kind in ("gauge", "element", "blank") for n in _EVERY]
    rows = [kept.entry for kind, n in wanted if (kept := shelf.newest(kind, n))]
    if as_json:
        shown = [row.model_dump(mode="json", exclude={"content"}) for row in rows]
        print_json({"on": day.isoformat(), "calibrations": shown, "blocked": reasons})
    else:
        table = Table()
        for heading in ("what", "station", "done", "due", "uncertainty", "against"):
            table.add_column(heading)
        for row in rows:
            station = str(row.station or "")
            days = (row.done.isoformat(), row.due.isoformat())
            table.add_row(row.kind, station, *days, row.uncertainty, row.reference)
        console().print(table)
        for reason in reasons or ["Nothing blocks certifying."]:
            console().print(reason, markup=False)
    return 1 if reasons else 0


def numbers(text: str, option: str) -> tuple[float, ...]:
    """Return the numbers of a list parted by commas; raises InputError."""
    try:
        return tuple(float(part) for part in text.split(",") if part.strip())
    except ValueError as error:
        raise InputError(
            f"{option}: {text!r} is no list of numbers; part them by commas"
        ) from error


def _points(text: str) -> tuple[PlaceKind, ...]:
    points = tuple(part.strip() for part in text.split(",") if part.strip())
    wrong = [point for point in points if point not in ("ice", "steam")]
    if wrong:
        raise InputError(f"--points: {wrong[0]!r} is no fixed point; there are ice and steam")
    return cast(tuple[PlaceKind, ...], points)


def _blank_night(asked: Asked, work: Session, clear_trip: bool) -> int:
    bench, place = bench_in_force(work.records, work.bench, work.day), work.records.place
    if asked.virtual_reference:
        bench = bench.model_copy(update={"virtual": virtual_blanks(virtual_of(bench))})
    else:
        print_cautions()
        Keyboard().wait(
            "BLANK NIGHT. Hang a solid bar at every station and seat every gauge on it."
        )
    clear = clear_trip or asked.virtual_reference
    with night_progress() as show:
        outcome = bench_night(
            blank_plan(bench.bench.name), bench, place, clear=clear, on_progress=show
        )
    if outcome.status != "done":
        raise BenchFaultError(f"the blank night ended {outcome.status}: {outcome.reason}")
    return outcome.run_id
