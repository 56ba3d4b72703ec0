"""Options of the verbs that work in a workshop: which one, and who is acting."""

from __future__ import annotations

from pathlib import Path

import click

from proofbath.workshop.shop import DEFAULT_FILE

shop_option = click.option(
    "--shop",
    "shop_file",
    type=click.Path(path_type=Path),
    default=DEFAULT_FILE,
    show_default=True,
    help="The workshop's file.",
)
by_option = click.option("--by", required=True, help="Who does it: a person on record.")
