"""What all calibrations share on the command line: bench, records, who, when, and the outcome."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from functools import wraps
from pathlib import Path
from typing import Any, NamedTuple, TypeVar

import click

from proofbath.bench.calibration_content import Instrument
from proofbath.bench.calibration_record import Content, calibration_entry
from proofbath.bench.clock import utc_text
from proofbath.bench.connect import connected, simulated
from proofbath.bench.description import BenchFile
from proofbath.bench.in_force import InForce, calibration_in_force
from proofbath.bench.recompute import look_back
from proofbath.bench.virtual_workplace import VirtualWorkplace
from proofbath.bench.workplace import BenchWorkplace, Workplace
from proofbath.cli.options import bench_option, json_option
from proofbath.cli.output import console, print_json, progress_console
from proofbath.cli.shop_options import IN_FOLDER, records_here
from proofbath.errors import InputError
from proofbath.files import read_toml
from proofbath.store.journal import Journal
from proofbath.store.kinds import Person
from proofbath.store.records import Records, Stamp
from proofbath.store.tables import place_of
from proofbath.virtual.description import VirtualSection

F = TypeVar("F", bound=Callable[..., Any])
records_option = click.option(
    "--records",
    "records_text",
    default=records_here,
    show_default=IN_FOLDER,
    help="Database of the records: a file, or postgresql://...",
)
on_option = click.option(
    "--on",
    "on",
    type=click.DateTime(["%Y-%m-%d"]),
    help="Day it holds from; today when left out.",
)


class Asked(NamedTuple):
    """What every calibration is called with."""

    bench_file: Path
    records_text: str
    by: str
    on: dt.datetime | None
    months: int
    virtual_reference: bool
    as_json: bool


def asked_options(function: F) -> F:
    """Add the options that every calibration has, handed over as one `Asked`."""

    @wraps(function)
    def gathered(**options: Any) -> Any:
        mine = Asked(**{name: options.pop(name) for name in Asked._fields})
        return function(asked=mine, **options)

    for option in (
        json_option,
        click.option(
            "--virtual-reference",
            is_flag=True,
            help="On a virtual bench: references put in place and read by the program.",
        ),
        click.option("--months", default=12, show_default=True, help="How long it holds."),
        on_option,
        click.option("--by", required=True, help="Who does it: a person on record."),
        records_option,
        bench_option("Bench file."),
    ):
        gathered = option(gathered)
    return gathered  # type: ignore[return-value]


class Session(NamedTuple):
    """A bench, its records, and in whose name and for which day they are written."""

    bench: BenchFile
    records: Records
    stamp: Stamp
    day: dt.date
    months: int
    in_force: InForce


class Keyboard:
    """A person at the keyboard; everything is said on standard error."""

    def tell(self, text: str) -> None:
        """Show a line."""
        progress_console().print(text, markup=False)

    def wait(self, text: str) -> None:
        """Show a line and wait for Enter."""
        self.tell(text)
        click.prompt("Press Enter when it is so", default="", show_default=False, err=True)

    def number(self, text: str, usual: float | None) -> float:
        """Ask for a number."""
        return float(click.prompt(text, type=float, default=usual, err=True))


def today(on: dt.datetime | None) -> dt.date:
    """Return the day asked for, else today."""
    return on.date() if on else dt.date.fromisoformat(utc_text()[:10])


@contextmanager
def open_records(text: str, new: bool = False) -> Iterator[Records]:
    """Open the records an operator names; only where `new` may a file be made."""
    place = place_of(text)
    if isinstance(place, Path) and not new and not place.is_file():
        raise InputError(f"{place}: no such file; the first person put on record makes it")
    with closing(Records(place)) as records:
        yield records


@contextmanager
def session(asked: Asked) -> Iterator[Session]:
    """Open what a calibration needs; raises InputError for an unknown person."""
    bench, day = read_toml(asked.bench_file, BenchFile), today(asked.on)
    if day > today(None):
        raise InputError(f"--on {day}: is still to come; give the day it was done")
    with open_records(asked.records_text) as records:
        by = records.find(Person, name=asked.by).root
        stamp = Stamp(utc_text(), by)
        found = calibration_in_force(records, bench, day)
        yield Session(bench, records, stamp, day, asked.months, found)


@contextmanager
def workplace(asked: Asked, bench: BenchFile, clear_trip: bool = False) -> Iterator[Workplace]:
    """Give the workplace of a bench; a virtual reference stands only at a virtual bench."""
    if asked.virtual_reference:
        yield VirtualWorkplace(virtual_of(bench))
        return
    with connected(bench) as link:
        yield BenchWorkplace(link, Keyboard(), clear_trip)


def virtual_of(bench: BenchFile) -> VirtualSection:
    """Return what a virtual reference stands in; raises InputError for a real bench."""
    if bench.virtual is None or not simulated(bench):
        raise InputError("--virtual-reference needs a virtual bench: a [virtual] section and port")
    return bench.virtual


def instrument(name: str | None, expanded_u: float | None, due: dt.datetime | None) -> Instrument:
    """Return a reference instrument; raises InputError when its name or uncertainty is missing."""
    if not name or expanded_u is None:
        raise InputError("a reference needs its name and its expanded uncertainty; give both")
    return Instrument(name=name, expanded_u=expanded_u, due=due.date() if due else None)


def keep(work: Session, content: Content, station: int = 0) -> dict[str, Any]:
    """Put a calibration on record and return what there is to tell."""
    entry = calibration_entry(content, work.bench.bench.name, work.day, work.months, station)
    number = work.records.add(entry, work.stamp)
    told = {"calibration": number, **entry.model_dump(mode="json")}
    with closing(Journal(work.records.place)) as journal:
        doubt = look_back(work.records, journal, work.bench.bench.name, number)
    if doubt is not None:
        told["drift"] = {
            "off_k": doubt.off_k,
            "since": doubt.since.isoformat() if doubt.since else None,
            "certificates": [kept.entry.number for kept in doubt.certificates],
        }
    return told


def tell(asked: Asked, kept: list[dict[str, Any]]) -> int:
    """Print calibrations that were put on record; 1 when a drift was found."""
    if asked.as_json:
        print_json({"calibrations": kept})
    for one in [] if asked.as_json else kept:
        where = f" of station {one['station']}" if one["station"] else ""
        console().print(
            f"{one['kind']}{where}: on record as {one['calibration']}, {one['uncertainty']},"
            f" against {one['reference']}, due {one['due']}",
            markup=False,
        )
        if "drift" in one:
            console().print(_drift_text(one["drift"]), markup=False)
    return 1 if any("drift" in one for one in kept) else 0


def _drift_text(drift: dict[str, Any]) -> str:
    since = f"since {drift['since']}" if drift["since"] else "since ever: there was no check before"
    numbers = ", ".join(drift["certificates"]) or "none"
    return (
        f"DRIFT: a probe was {drift['off_k']:+.3f} K off at the ice point. Set it aside; in doubt"
        f" are the certificates {since}: {numbers}"
    )
