"""`proofbath bench`: speak to the night that is running on a bench."""

from __future__ import annotations

from pathlib import Path

import click

from proofbath.bench.connect import control_path
from proofbath.bench.control_socket import command as tell
from proofbath.bench.description import BenchFile
from proofbath.cli.options import bench_option
from proofbath.cli.output import console
from proofbath.files import read_toml

ACTS = {
    "status": "how the run stands, as JSON",
    "pause": "keep the bath where it is, elements off",
    "resume": "go on after a pause",
    "finish": "leave out what is still to be recorded and cool down",
    "stop": "switch everything off now and close the run",
    "leave": "end the watch over a bench whose run has ended; a person looks after it",
}


@click.command(epilog="  ".join(f"{act}: {what}." for act, what in ACTS.items()))
@click.argument("act", type=click.Choice(list(ACTS)))
@bench_option("Bench file the night was started with.")
@click.option("--reason", default="", help="Written to the journal with a stop.")
def command(act: str, bench_file: Path, reason: str) -> None:
    """Speak to the night that is running on a bench.

    This does not replace the emergency-stop button at the bench.
    """
    bench = read_toml(bench_file, BenchFile)
    line = f"{act} {reason}".strip() if act == "stop" else act
    console().print(tell(control_path(bench), line) or f"{act}: taken")
