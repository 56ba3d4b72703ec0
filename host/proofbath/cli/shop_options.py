"""Options of the verbs that work in a workshop: which one, who is acting, and its places."""

from __future__ import annotations

from pathlib import Path

import click

from proofbath.files import read_toml
from proofbath.workshop.settings import ShopFile
from proofbath.workshop.shop import DEFAULT_FILE, records_place


def records_here() -> str:
    """Return the records of the workshop in the current folder; raises UsageError without one."""
    file = _file_here()
    if file is None:
        raise click.UsageError(f"name the records with --records; here is no {DEFAULT_FILE}.")
    return str(records_place(file, Path()))


def only_bench_here() -> Path:
    """Return the bench file of the workshop in the current folder; raises UsageError without."""
    bench_file = bench_here()
    if bench_file is None:
        raise click.UsageError(
            f"name the bench's file with --bench; here is no {DEFAULT_FILE} with one bench."
        )
    return bench_file


def bench_here() -> Path | None:
    """Return the bench file of the workshop in the current folder, where it has only one."""
    file = _file_here()
    return Path(file.bench[0].file) if file and len(file.bench) == 1 else None


def _file_here() -> ShopFile | None:
    return read_toml(DEFAULT_FILE, ShopFile) if DEFAULT_FILE.is_file() else None


IN_FOLDER = f"as {DEFAULT_FILE} in the current folder says"
shop_option = click.option(
    "--shop",
    "shop_file",
    type=click.Path(path_type=Path),
    default=DEFAULT_FILE,
    show_default=True,
    help="The workshop's file.",
)
by_option = click.option("--by", required=True, help="Who does it: a person on record.")
