"""`proofbath check`: a bench at rest without heating, or its interlocks proven one by one."""

from __future__ import annotations

from pathlib import Path

import click

from proofbath.bench.clock import utc_text
from proofbath.bench.commission import commission_bench
from proofbath.bench.connect import connected
from proofbath.bench.description import BenchFile
from proofbath.bench.filling import prove_filling
from proofbath.bench.filling_record import VALID_DAYS as FILLING_DAYS
from proofbath.bench.filling_record import filling_path
from proofbath.bench.night import check_bench
from proofbath.bench.preflight import Check
from proofbath.bench.proof_record import VALID_DAYS, Proof, proof_path
from proofbath.cli.options import bench_option, json_option
from proofbath.cli.output import console, print_json, progress_console
from proofbath.cli.person import KeyboardPerson
from proofbath.cli.whole_table import Table
from proofbath.errors import InputError
from proofbath.files import read_toml
from proofbath.wire.table import STATIONS

CAUTIONS = (
    "Mains: touch low-voltage links and plugs only; whatever needs more is done by a licensed"
    " electrician with the bench isolated.  Scald: begin below 45 °C, keep the lid on; the bath is"
    " heated by a few kelvins.  Have the bath filled, blanks hung at all stations so that their"
    " gauges read, dummy loads for the element leads, and a second person near."
)
FILLING_CAUTIONS = (
    "Scald: only with the bath below 45 °C.  Mains: the heater's isolator off and locked while"
    " anything is done in the vessel.  Glycol: gloves and eye protection, wipe up what is spilt; it"
    " is poisonous to people and animals."
)


@click.command()
@bench_option("Bench file to look at.")
@click.option(
    "--stations",
    default="1,2,3,4,5,6",
    show_default=True,
    help="Stations in use, parted by commas.",
)
@click.option(
    "--commission",
    is_flag=True,
    help="Prove every interlock with you at the bench; goes on where it was left.",
)
@click.option(
    "--filling",
    is_flag=True,
    help="Prove the level switch while you fill the bath: seen low, filled, seen right.",
)
@click.option("--litres", type=float, default=None, help="With --filling: what is in the bath.")
@click.option("--person", default="", help="Who proves; kept in the record.")
@click.option("--again", is_flag=True, help="With --commission: prove everything anew.")
@json_option
def command(
    bench_file: Path,
    stations: str,
    commission: bool,
    filling: bool,
    litres: float | None,
    person: str,
    again: bool,
    as_json: bool,
) -> int:
    """Look at a bench at rest: controller, probes, inputs, gauges. Nothing is heated.

    With --commission you are led through every interlock: what to do, what must happen, and the
    record beside the bench file that an unattended night needs. The contactor closes and the
    bath is heated by a few kelvins: read the cautions it begins with.
    With --filling you fill the bath while the level switch is watched; nothing is switched on. An
    unattended night needs it after each filling and every month.
    Exit status 3 when anything is not as it should be, 1 when an interlock is not proven.
    """
    loaded = _stations(stations)
    bench = read_toml(bench_file, BenchFile)
    if commission and filling:
        raise InputError("--filling and --commission: one after the other, the filling first")
    if (commission or filling) and not person:
        raise InputError("--person: nobody named; say who proves it")
    if filling:
        return _filled(bench, bench_file, person, litres, as_json)
    if commission:
        progress_console().print(CAUTIONS)
        path = proof_path(bench_file)
        proof = commission_bench(bench, path, KeyboardPerson(), person, loaded, again)
        return _report(proof, path, as_json)
    with connected(bench) as link:
        checks = check_bench(link, bench, loaded)
    if as_json:
        print_json({"ok": all(c.ok for c in checks), "checks": [c._asdict() for c in checks]})
    else:
        _print(checks)
    return 0 if all(check.ok for check in checks) else 3


def _filled(
    bench: BenchFile, bench_file: Path, person: str, litres: float | None, as_json: bool
) -> int:
    path, filled_l = filling_path(bench_file), bench.bench.fill_l if litres is None else litres
    progress_console().print(FILLING_CAUTIONS)
    filling = prove_filling(bench, path, KeyboardPerson(), person, filled_l, utc_text)
    if as_json:
        print_json(filling.model_dump())
    else:
        console().print(
            f"The level switch read low for {filling.low_s:.0f} s and right for"
            f" {filling.right_s:.0f} s, with {filling.litres:.1f} l in the bath; good for"
            f" {FILLING_DAYS} days or until the bath is filled anew. The record is {path}"
        )
    return 0


def _report(proof: Proof, path: Path, as_json: bool) -> int:
    missing = proof.missing(utc_text())
    if as_json:
        print_json({"complete": not missing, "missing": missing, **proof.model_dump()})
    else:
        _print_proof(proof, missing, path)
    return 1 if missing else 0


def _print_proof(proof: Proof, missing: list[str], path: Path) -> None:
    table = Table(title=f"Controller {proof.serial_number} on {proof.bench}")
    for heading in ("", "interlock", "seen", "wanted"):
        table.add_column(heading)
    for name, row in proof.rows.items():
        table.add_row("ok" if row.ok else "NOT OK", name, row.measured, row.wanted)
    shown = console()
    shown.print(table)
    if missing:
        shown.print(f"not proven: {', '.join(missing)}; say it again to go on")
    else:
        shown.print(f"complete for {VALID_DAYS} days; the record is {path}")


def _stations(text: str) -> tuple[int, ...]:
    parts = [part.strip() for part in text.split(",")]
    known = {str(n): n for n in range(1, STATIONS + 1)}
    wrong = [part for part in parts if part not in known]
    if wrong:
        raise InputError(
            f"--stations: {wrong[0]!r} is no station; give numbers from 1 to {STATIONS}"
        )
    return tuple(sorted({known[part] for part in parts}))


def _print(checks: list[Check]) -> None:
    table = Table()
    for heading in ("", "what", "measured", "wanted", "what to do"):
        table.add_column(heading)
    for check in checks:
        row = (check.what, check.measured, check.wanted, "" if check.ok else check.remedy)
        table.add_row("ok" if check.ok else "NOT OK", *row)
    console().print(table)
