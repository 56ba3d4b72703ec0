"""`proofbath batch plan`: the plan of a batch's next night, and the list to load it by."""

from __future__ import annotations

import itertools
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NamedTuple

import click
from rich.text import Text

from proofbath.bench.clock import seconds_of_day, utc_text
from proofbath.bench.night import check_night
from proofbath.cli.night import forecast_lines
from proofbath.cli.options import json_option
from proofbath.cli.output import console, print_json
from proofbath.cli.shop_options import shop_option
from proofbath.cli.whole_table import Table
from proofbath.errors import InputError
from proofbath.proof.verdict import RetestCause
from proofbath.run.plan import NightPlan, Spoilt, Stage
from proofbath.store.kinds import Unit
from proofbath.wire.table import STATIONS
from proofbath.workshop.entry import day_of
from proofbath.workshop.nights import certify_blocks
from proofbath.workshop.planning import Retest, cause_of, plan_night, plan_text
from proofbath.workshop.shop import Shop, open_shop

_CAUSES = {cause.name.lower(): cause for cause in RetestCause}


@click.command()
@click.argument("name")
@click.option(
    "--stage",
    required=True,
    type=click.Choice(["as-found", "as-left", "trial"]),
    help="As the units came, as they leave, or a trial that decides nothing.",
)
@click.option("--bench", "bench_name", help="Bench by its name; the only one when left out.")
@click.option("--reference", help="Reference unit; the one on record that fits when left out.")
@click.option(
    "--serial", "serials", multiple=True, help="Load this unit; repeat it. All due ones else."
)
@click.option(
    "--station",
    "stations",
    type=(str, click.IntRange(1, STATIONS)),
    multiple=True,
    metavar="SERIAL N",
    help="The station a unit hangs at, where it matters. Repeat it.",
)
@click.option(
    "--retest",
    "retests",
    type=(str, click.Choice(list(_CAUSES)), str),
    multiple=True,
    metavar="SERIAL CAUSE RECORD",
    help="Measure a unit once more: what spoilt its measurement, and how you know. Causes: "
    + ", ".join(f"{name} ({cause})" for name, cause in _CAUSES.items())
    + ".",
)
@click.option("--profile", help="Shipped profile; the stage's usual one when left out.")
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="Plan file to write; a new one in the shop's folder of nights when left out.",
)
@shop_option
@json_option
def plan(
    name: str,
    stage: Stage,
    bench_name: str | None,
    reference: str | None,
    serials: tuple[str, ...],
    stations: tuple[tuple[str, int], ...],
    retests: tuple[tuple[str, Spoilt, str], ...],
    profile: str | None,
    out: Path | None,
    shop_file: Path,
    as_json: bool,
) -> None:
    """Plan the next night of batch NAME, write its file and print the loading list.

    The plan is checked whole: who is due, the reference unit, the profile on this bench.

    Example:  proofbath batch plan "ferry 12" --stage as-found
    """
    again = {serial: Retest(cause, record) for serial, cause, record in retests}
    day = utc_text()[:10]
    with open_shop(shop_file) as shop:
        bench_name = bench_name or _only_bench(shop)
        night = plan_night(
            shop,
            name,
            stage,
            bench_name,
            reference,
            serials or None,
            again,
            stations=dict(stations),
            profile=profile,
        )
        _check_hung(night, dict(stations))
        path = out or _free(shop.nights / f"{_slug(name)}-{stage}-{day}.toml")
        planned = _look_at(shop, night, bench_name, day, path)
    _write(path, plan_text(night))
    if as_json:
        print_json(_json(planned))
    else:
        _print(planned)


class _Planned(NamedTuple):
    """A night's plan with what a person should know before loading it."""

    night: NightPlan
    bench_name: str
    path: Path
    marks: dict[str, str]
    forecast: list[str]
    blocks: list[str]


def _look_at(shop: Shop, night: NightPlan, bench_name: str, day: str, path: Path) -> _Planned:
    bench = shop.bench(bench_name)
    return _Planned(
        night,
        bench_name,
        path,
        _marks(shop, night),
        forecast_lines(check_night(night, bench, seconds_of_day())),
        certify_blocks(shop, night, bench, day_of(day)),
    )


def _json(planned: _Planned) -> dict[str, Any]:
    rows = [
        place.model_dump(mode="json") | {"customer_mark": planned.marks.get(place.serial, "")}
        for place in planned.night.station
    ]
    return {
        "plan": str(planned.path),
        "bench": planned.bench_name,
        "stations": rows,
        "forecast": planned.forecast,
        "blocking": planned.blocks,
    }


def _print(planned: _Planned) -> None:
    shown = console()
    shown.print(_loading_list(planned))
    for place in planned.night.station:
        if cause := cause_of(place):
            shown.print(f"{place.serial} is measured once more: {cause}", markup=False)
    blocking = (f"no certificate from this night: {block}" for block in planned.blocks)
    for line in (*planned.forecast, *blocking, f"plan: {planned.path}"):
        shown.print(line, markup=False, soft_wrap=True)


def _only_bench(shop: Shop) -> str:
    names = [*shop.bench_files()]
    if len(names) != 1:
        raise InputError(f"--bench: the workshop has {len(names)} benches, {names}; name one")
    return names[0]


def _check_hung(night: NightPlan, stations: Mapping[str, int]) -> None:
    absent = sorted({*stations} - {place.serial for place in night.station})
    if absent:
        raise InputError(f"--station: {', '.join(absent)} is not in this night; see its serial")


def _marks(shop: Shop, night: NightPlan) -> dict[str, str]:
    serials = {place.serial for place in night.station if place.role != "blank"}
    return {
        kept.entry.serial: kept.entry.customer_mark
        for kept in shop.records.current(Unit)
        if kept.entry.serial in serials
    }


def _loading_list(planned: _Planned) -> Table:
    night = planned.night
    table = Table(title=f"Load bench {planned.bench_name}: {night.batch}, {night.stage}")
    expected = any(place.opens_c is not None for place in night.station)
    more = ("opens, °C",) if expected else ()
    for heading in ("station", "serial", "mark", "role", "heater, ohm", *more):
        table.add_column(heading)
    for place in sorted(night.station, key=lambda place: place.station):
        ohm = "" if place.intake_ohm is None else f"{place.intake_ohm:g}"
        opens = "" if place.opens_c is None else f"{place.opens_c:.1f} to {place.opens_by_c:.1f}"
        cells = [place.serial, planned.marks.get(place.serial, ""), place.role, ohm]
        cells += [opens] if expected else []
        table.add_row(str(place.station), *(Text(cell) for cell in cells))
    return table


def _write(path: Path, text: str) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError as error:
        raise InputError(f"{path}: exists already; name another with --out") from error
    except OSError as error:
        raise InputError(f"{path}: cannot be written: {error.strerror}") from error


def _free(path: Path) -> Path:
    """Return a path that is not taken: this one, or with a number."""
    others = (path.with_stem(f"{path.stem}-{n}") for n in itertools.count(2))
    return next(name for name in itertools.chain([path], others) if not name.exists())


def _slug(name: str) -> str:
    return re.sub(r"[^A-Za-z0-9._-]+", "-", name).strip("-.") or "batch"
