"""Options that several verbs share, worded once."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import click
from click.decorators import FC

from proofbath.bench.clock import utc_text
from proofbath.cli.shop_options import IN_FOLDER, only_bench_here


def utc_now() -> str:
    """Return the time of a call by the clock `main` was given, as ISO 8601 UTC."""
    clock: Callable[[], str] = click.get_current_context().obj or utc_text
    return clock()


json_option = click.option(
    "--json", "as_json", is_flag=True, help="Print one JSON object instead of text."
)
clear_trip_option = click.option(
    "--clear-trip",
    is_flag=True,
    help="You have removed the cause of the latched trip; power-on is one too.",
)
attended_option = click.option(
    "--attended",
    is_flag=True,
    help="Somebody stays while it heats; else a real bench must be commissioned.",
)


def bench_option(meaning: str) -> Callable[[FC], FC]:
    """Return the option `--bench`, passed on as `bench_file`; the workshop's where it has one."""
    return click.option(
        "--bench",
        "bench_file",
        type=click.Path(path_type=Path),
        default=only_bench_here,
        show_default=IN_FOLDER,
        help=meaning,
    )


def out_option(folder: str, meaning: str) -> Callable[[FC], FC]:
    """Return the option `--out`, a folder with a default."""
    return click.option(
        "--out",
        type=click.Path(path_type=Path),
        default=Path(folder),
        show_default=True,
        help=meaning,
    )
