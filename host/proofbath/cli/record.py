"""`proofbath record`: measure a unit by hand, with a pot, a thermometer and a caliper."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from typing import Any

import click

from proofbath.bench.clock import monotonic_s, utc_text
from proofbath.bench.hand_file import HandFile, HandNotes, check_new, load_notes
from proofbath.bench.hand_heater import ALONE_S, HandHeater, HandSupply, SetByHand, SetByScpi
from proofbath.bench.hand_session import HandSession, caution
from proofbath.bench.hand_typed import Left
from proofbath.bench.scpi_worker import SupplyWorker
from proofbath.bench.stream import open_stream
from proofbath.cli.hand_options import Instruments, Supply, instrument_options, supply_options
from proofbath.cli.hand_person import HandKeyboard
from proofbath.cli.hand_shop import on_record
from proofbath.cli.hand_tables import print_hand
from proofbath.cli.options import json_option
from proofbath.cli.output import console, print_json
from proofbath.cli.shop_options import shop_option
from proofbath.curve.hand_instruments import HandSetup
from proofbath.curve.hand_record import HandPoint, read_points
from proofbath.curve.hand_result import analyse_hand
from proofbath.files import read_text
from proofbath.run.plan import Stage


@click.command()
@click.argument("file", required=False, type=click.Path(path_type=Path))
@click.option(
    "--from",
    "written",
    type=click.Path(path_type=Path),
    help="Readings written on paper and typed as CSV t_s,bath_c,lift_mm; nothing is asked.",
)
@click.option("--go-on", is_flag=True, help="Go on with a FILE that was broken off.")
@instrument_options
@supply_options
@shop_option
@click.option("--unit", "serial", help="Put it on record with this unit; needs --by.")
@click.option("--by", help="Who measures: a person on record.")
@click.option(
    "--stage",
    type=click.Choice(["as-found", "as-left", "trial"]),
    default="trial",
    show_default=True,
    help="In what state the unit is.",
)
@json_option
def command(
    file: Path | None,
    written: Path | None,
    go_on: bool,
    instruments: Instruments,
    supply: Supply,
    shop_file: Path,
    serial: str | None,
    by: str | None,
    stage: Stage,
    as_json: bool,
) -> None:
    """Measure a unit by hand: pot, thermometer, caliper, perhaps a bench supply.

    You are shown the cautions, then you type temperature and lift whenever you read them; each is
    saved in FILE (a .csv) at once. In the end you get start-to-open and the heater's shift with
    their uncertainties: hand measured, never certified.

    Example:  proofbath record pot.csv --thermometer glass --lift-tool caliper
    """
    place = on_record(shop_file, serial, by, stage)
    if place:
        place.check()
    if (file is None) == (written is None):
        raise click.UsageError("name the FILE to write, or --from a file that is written.")
    kept = _guided(file, go_on, instruments, supply, serial or "") if file else None
    notes, points = (kept.notes, kept.points) if kept else _read(written or Path(), instruments)
    result = analyse_hand(points, notes.setup)
    told = result.to_json() | {"began": notes.began, "file": str(file or written)}
    if kept:
        kept.end(told)
    number = place.put(told, notes.began, utc_text()) if place else None
    if as_json:
        print_json(told | {"hand_measurement": number})
    else:
        print_hand(result, f"{'kept in' if kept else 'read from'} {file or written}")
        if place:
            console().print(f"on record with {place.serial} as {number}", markup=False)


def _read(path: Path, instruments: Instruments) -> tuple[HandNotes, list[HandPoint]]:
    """Return a written file's readings with the notes beside it, or those of the options."""
    text = read_text(path)
    notes = load_notes(path) if path.suffix == ".csv" else None
    if notes is None:
        notes = HandNotes(began=utc_text(), setup=instruments.setup())
    else:
        notes = notes.model_copy(update={"setup": instruments.over(notes.setup)})
    return notes, read_points(text, str(path), notes.setup.heater is not None)


def _guided(
    path: Path, go_on: bool, instruments: Instruments, supply: Supply, serial: str
) -> HandFile:
    """Lead a person through a measurement and return the file it is kept in."""
    settings, person = supply.settings(), HandKeyboard()
    if go_on:
        file = HandFile.go_on(path)
        file.set_up(instruments.over(file.notes.setup))
        with _leaving():
            caution(person)
    else:
        check_new(path)
        with _leaving():
            caution(person)
            setup = person.ask_instruments(instruments).setup()
        file = HandFile.begin(path, HandNotes(began=utc_text(), serial=serial, setup=setup))
    begun_s = file.passed_s(utc_text())
    try:
        with _ending_cleanly(), _heater(file.notes.setup, settings, person) as heater:
            HandSession(file, heater, person, monotonic_s, begun_s).run()
    except BaseException:
        click.echo(f"broken off; all readings are in {path}: --go-on goes on with it", err=True)
        raise
    return file


@contextmanager
def _leaving() -> Iterator[None]:
    """Let a command typed before anything is begun end it."""
    try:
        yield
    except Left as left:
        raise click.Abort from left


@contextmanager
def _heater(
    setup: HandSetup, settings: HandSupply | None, person: HandKeyboard
) -> Iterator[HandHeater | None]:
    """Give what feeds the element, None where it is not used; a supply is off afterwards."""
    if setup.heater is None:
        yield None
    elif settings is None:
        yield SetByHand(person.tell, person.volts)
    else:
        wait_s = min(0.05, settings.timeout_s)
        worker = SupplyWorker(
            lambda: open_stream(settings.url, settings.baud, wait_s),
            settings,
            monotonic_s,
            ALONE_S,
        )
        with worker:
            yield SetByScpi(worker, monotonic_s)


@contextmanager
def _ending_cleanly() -> Iterator[None]:
    """Let a closed window or a plain kill end as Ctrl-C does: the supply is switched off."""

    def stop(number: int, frame: FrameType | None) -> Any:
        raise KeyboardInterrupt

    before = {number: signal.signal(number, stop) for number in (signal.SIGTERM, signal.SIGHUP)}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
