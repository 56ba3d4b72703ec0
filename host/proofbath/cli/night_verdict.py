"""Tells whoever started a night what came of it, before it is over."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import click

from proofbath.bench.start import LatchedTripError
from proofbath.errors import ProofbathError
from proofbath.wire.table import TripReason
from proofbath.workshop.start_verdict import StartVerdict


@contextmanager
def verdict_in(path: Path | None) -> Iterator[Callable[[], None]]:
    """Write into a file what comes of the start in the block; yields what says that it has begun.

    What goes wrong later is the run's, not the start's.
    """
    said: list[StartVerdict] = []

    def say(verdict: StartVerdict) -> None:
        if path is not None and not said:
            said.append(verdict)
            verdict.write(path)

    try:
        yield lambda: say(StartVerdict(verdict="begun"))
    except BaseException as error:
        say(_refused(error))
        raise


def _refused(error: BaseException) -> StartVerdict:
    if isinstance(error, LatchedTripError):
        trip = TripReason(error.reason).name.lower()
        return StartVerdict(verdict="refused", faults=(error.shown,), trip=trip)
    if isinstance(error, ProofbathError):
        faults: tuple[str, ...] = error.faults
    elif isinstance(error, click.ClickException):
        faults = (error.format_message(),)
    else:
        faults = (f"the program failed: {type(error).__name__}: {error}",)
    return StartVerdict(verdict="refused", faults=faults)
