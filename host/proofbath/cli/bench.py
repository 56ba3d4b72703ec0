"""`proofbath bench`: speak to the night that is running on a bench, or show a code at it."""

from __future__ import annotations

from pathlib import Path

import click

from proofbath.bench.clock import utc_text
from proofbath.bench.connect import control_path
from proofbath.bench.control_socket import command as tell
from proofbath.bench.description import BenchFile
from proofbath.cli.options import bench_option
from proofbath.cli.output import console
from proofbath.cli.shop_options import shop_option
from proofbath.errors import InputError
from proofbath.files import read_toml
from proofbath.workshop.presence import VALID_S, issue_code
from proofbath.workshop.settings import ShopFile

CODE = "code"
ACTS = {
    "status": "how the run stands, as JSON",
    "pause": "keep the bath where it is, elements off",
    "resume": "go on after a pause",
    "finish": "leave out what is still to be recorded and cool down",
    "stop": "switch everything off now and close the run",
    "leave": "end the watch over a bench whose run has ended; a person looks after it",
    CODE: "show the four digits that let the pages start one night here, valid for 10 minutes",
}


@click.command(epilog="  ".join(f"{act}: {what}." for act, what in ACTS.items()))
@click.argument("act", type=click.Choice(list(ACTS)))
@bench_option("Bench file the night was started with.")
@click.option("--reason", default="", help="Written to the journal with a stop.")
@shop_option
def command(act: str, bench_file: Path, reason: str, shop_file: Path) -> None:
    """Speak to the night that is running on a bench, or show a code for the pages.

    This does not replace the emergency-stop button at the bench. Read a code with the bench
    before your eyes, and give it to nobody who does not see it.
    """
    bench = read_toml(bench_file, BenchFile)
    if act == CODE:
        console().print(_code(bench.bench.name, bench_file, shop_file), markup=False)
        return
    line = f"{act} {reason}".strip() if act == "stop" else act
    console().print(tell(control_path(bench), line) or f"{act}: taken")


def _code(name: str, bench_file: Path, shop_file: Path) -> str:
    """Return a new code of a workshop's bench in words."""
    file, folder = read_toml(shop_file, ShopFile), shop_file.resolve().parent
    if bench_file.resolve() not in [(folder / place.file).resolve() for place in file.bench]:
        raise InputError(f"{bench_file}: is no bench of {shop_file}; name one of its benches")
    code = issue_code(folder, name, utc_text())
    return f"{code}  starts one night on bench {name} from the pages, within {VALID_S // 60} min"
