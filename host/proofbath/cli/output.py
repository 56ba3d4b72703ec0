"""What every verb prints with: JSON for programs on standard output, a console for people."""

from __future__ import annotations

import json
from typing import Any

import click
from rich.console import Console

from proofbath.bench.cautions import NIGHT


def print_json(value: dict[str, Any]) -> None:
    """Print one JSON object; a number that is not finite is an error of ours and raises."""
    click.echo(json.dumps(value, indent=2, allow_nan=False))


def console() -> Console:
    """Return the console for people: standard output, plain when it is not a terminal."""
    return Console(highlight=False)


def progress_console() -> Console:
    """Return the console for progress: standard error, so that output can be piped."""
    return Console(stderr=True, highlight=False)


def print_alarm(text: str) -> None:
    """Print what a person must act on at once: in red, and with the terminal's bell."""
    shown = progress_console()
    shown.bell()
    shown.print(text, style="bold red", markup=False)


def print_cautions() -> None:
    """Print what must be read before a bench heats."""
    for text in NIGHT:
        progress_console().print(text, markup=False)
