"""`proofbath chart`: the control charts of a bench, and what made a run go out of control."""

from __future__ import annotations

from pathlib import Path
from typing import cast, get_args

import click

from proofbath.bench.clock import utc_text
from proofbath.cli.options import json_option
from proofbath.cli.output import console, print_json
from proofbath.cli.shop_options import by_option, shop_option
from proofbath.cli.whole_table import Table
from proofbath.errors import InputError
from proofbath.workshop.chart_view import Charts, ChartView, charts_of
from proofbath.workshop.charts import ChartName, put_cause
from proofbath.workshop.shop import Shop, open_shop

SHOWN = 20


@click.group()
def command() -> None:
    """Look at a bench's control charts: the reference unit, and bath minus guard probe.

    While a chart is out of control nothing is certified. It is lifted by a recorded cause and a
    good run after it.
    """


@command.command()
@click.option("--bench", "bench_name", help="Bench by name; left out where there is only one.")
@click.option("--reference", "serial", help="Reference unit; the one in use when left out.")
@shop_option
@json_option
def show(bench_name: str | None, serial: str | None, shop_file: Path, as_json: bool) -> int:
    """Show both charts of a bench; exit status 1 while one is out of control.

    Example:  proofbath chart show
    """
    with open_shop(shop_file) as shop:
        charts = charts_of(shop, bench_name or _only_bench(shop), serial)
    if as_json:
        print_json(charts.model_dump(mode="json"))
    else:
        _print(charts)
    both = [charts.probes, *([charts.reference] if charts.reference else [])]
    return 1 if any(chart.blocked for chart in both) else 0


@command.command()
@click.argument("run_id", metavar="RUN", type=int)
@click.argument("chart", type=click.Choice(get_args(ChartName)))
@click.argument("text")
@by_option
@shop_option
@json_option
def cause(run_id: int, chart: str, text: str, by: str, shop_file: Path, as_json: bool) -> None:
    """Record what made RUN go out of control, as TEXT says; a certifier does it.

    Example:  proofbath chart cause 12 reference "unit hung askew" --by "Mara Lind"
    """
    with open_shop(shop_file) as shop:
        stamp = shop.stamp(by, utc_text())
        number = put_cause(shop, run_id, cast(ChartName, chart), text, stamp)
    if as_json:
        print_json({"run": run_id, "chart": chart, "number": number})
    else:
        console().print(f"run {run_id}: cause on record; a good run must follow", markup=False)


def _only_bench(shop: Shop) -> str:
    names = [*shop.bench_files()]
    if len(names) != 1:
        raise InputError(f"--bench: the workshop has {len(names)} benches; name one of {names}")
    return names[0]


def _print(charts: Charts) -> None:
    if charts.reference is None:
        console().print(f"{charts.bench}: no reference unit is on record")
    else:
        _print_chart(charts.reference, f"Start-to-open of {charts.serial}, °C")
    _print_chart(charts.probes, "Bath minus guard probe, K")


def _print_chart(chart: ChartView, title: str) -> None:
    out = console()
    table = Table(title=title, title_justify="left")
    for heading in ("run", "value", "centre", "limit ±", "EWMA", "signal", "cause"):
        words = heading in ("run", "signal", "cause")
        table.add_column(heading, justify="left" if words else "right")
    for point in chart.points[-SHOWN:]:
        limit = "none yet" if point.half_width is None else f"{point.half_width:.3f}"
        values = (f"{point.value:.3f}", f"{point.centre:.3f}", limit, f"{point.ewma:.3f}")
        table.add_row(point.run, *values, point.signal or "", point.cause)
    out.print(table)
    for line in (chart.blocked or "in control", chart.provisional, chart.sees):
        if line:
            out.print(f"  {line}", markup=False, soft_wrap=True)
