"""`proofbath certify`: certificates of a batch, and what becomes of them later."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from pathlib import Path

import click

from proofbath.certificate.keys import fingerprint, public_keys
from proofbath.cli.certify_tables import certified_json, certified_lines, issued_json, issued_lines
from proofbath.cli.options import json_option, utc_now
from proofbath.cli.output import console, print_json
from proofbath.cli.shop_options import by_option, shop_option
from proofbath.errors import InputError
from proofbath.workshop import batch_papers, comparison, papers
from proofbath.workshop.desk import signing_key
from proofbath.workshop.entry import day_of
from proofbath.workshop.issued import certificates_of, doubts_of
from proofbath.workshop.recomputing import recompute_run
from proofbath.workshop.shop import open_shop

LARGEST_PASSPHRASE = 4096
passphrase_option = click.option(
    "--passphrase-file",
    type=click.Path(path_type=Path, dir_okay=False),
    help="File whose first line unlocks the signing key, where it has a passphrase.",
)


@click.group()
def command() -> None:
    """Certify units, withdraw and replace certificates, print what goes with them."""


@command.command()
@click.argument("batch")
@by_option
@shop_option
@passphrase_option
@json_option
def issue(batch: str, by: str, shop_file: Path, passphrase_file: Path | None, as_json: bool) -> int:
    """Judge BATCH and issue a certificate for every unit that may have one.

    Exit status 1 where a unit has none: each comes with the reason. Do as it says and call again;
    nothing is certified twice.
    """
    phrase, at = _passphrase(passphrase_file), utc_now()
    with open_shop(shop_file) as shop:
        units = papers.certify(shop, batch, shop.stamp(by, at), phrase)
    if as_json:
        print_json(certified_json(units))
    else:
        _tell(certified_lines(units))
    return 0 if all(unit.number for unit in units) else 1


@command.command()
@click.argument("number")
@by_option
@click.option("--reason", required=True, help="Why it no longer counts; it is printed.")
@click.option("--what-to-do", default=papers.WHAT_TO_DO, help="What the customer should do.")
@shop_option
@passphrase_option
@json_option
def withdraw(
    number: str,
    by: str,
    reason: str,
    what_to_do: str,
    shop_file: Path,
    passphrase_file: Path | None,
    as_json: bool,
) -> None:
    """Withdraw certificate NUMBER by a document to hand to the customer."""
    phrase, at = _passphrase(passphrase_file), utc_now()
    with open_shop(shop_file) as shop:
        pdf = papers.withdraw(shop, number, reason, shop.stamp(by, at), phrase, what_to_do)
    _tell_pdf(pdf, as_json)


@command.command()
@click.argument("number")
@by_option
@click.option("--reason", required=True, help="Why another takes its place; it is printed.")
@click.option("--changes", required=True, help="What is different; it is printed.")
@shop_option
@passphrase_option
@json_option
def replace(
    number: str,
    by: str,
    reason: str,
    changes: str,
    shop_file: Path,
    passphrase_file: Path | None,
    as_json: bool,
) -> None:
    """Issue another certificate in the place of NUMBER, from what is on record now."""
    phrase, at = _passphrase(passphrase_file), utc_now()
    with open_shop(shop_file) as shop:
        unit = papers.replace(shop, number, reason, changes, shop.stamp(by, at), phrase)
    assert unit.pdf is not None
    _tell_pdf(unit.pdf, as_json)


@command.command()
@click.argument("batch")
@by_option
@shop_option
@passphrase_option
@json_option
def summary(
    batch: str, by: str, shop_file: Path, passphrase_file: Path | None, as_json: bool
) -> None:
    """Issue the summary of BATCH: every unit, certified or not, with its curve."""
    phrase, at = _passphrase(passphrase_file), utc_now()
    with open_shop(shop_file) as shop:
        pdf = batch_papers.batch_summary(shop, batch, shop.stamp(by, at), phrase)
    _tell_pdf(pdf, as_json)


@command.command()
@click.argument("batch")
@shop_option
@json_option
def labels(batch: str, shop_file: Path, as_json: bool) -> None:
    """Write the labels of BATCH, one a page of 76 mm by 36 mm."""
    with open_shop(shop_file) as shop:
        pdf = batch_papers.batch_labels(shop, batch)
    _tell_pdf(pdf, as_json)


@command.command()
@click.argument("serial")
@by_option
@shop_option
@passphrase_option
@json_option
def compare(
    serial: str, by: str, shop_file: Path, passphrase_file: Path | None, as_json: bool
) -> None:
    """Compare unit SERIAL as it came back with how it left, on one page."""
    phrase, at = _passphrase(passphrase_file), utc_now()
    with open_shop(shop_file) as shop:
        changes = comparison.changes_between(
            shop.records, comparison.two_measurements(shop.records, serial)
        )
        pdf = comparison.then_and_now(shop, serial, shop.stamp(by, at), phrase)
    if as_json:
        told = [change.model_dump(mode="json", exclude={"then", "now"}) for change in changes]
        names = [change.now.stated.name for change in changes]
        shown = [{"quantity": name} | one for name, one in zip(names, told, strict=True)]
        print_json({"pdf": str(pdf), "changes": shown})
        return
    _tell(f"{c.now.words} {c.words}; E_n {c.e_n:.2f}" for c in changes)
    _tell_pdf(pdf, as_json)


@command.command()
@click.argument("run", type=int)
@by_option
@click.option("--reason", required=True, help="Why: another calibration, a drift found later.")
@click.option("--on", type=click.DateTime(["%Y-%m-%d"]), help="Day whose calibrations hold; today.")
@shop_option
@json_option
def recompute(
    run: int, by: str, reason: str, on: dt.datetime | None, shop_file: Path, as_json: bool
) -> None:
    """Compute the results of RUN anew from its raw counts, and list the certificates affected.

    The earlier results stay on record; replace or withdraw the certificates afterwards.
    """
    at = utc_now()
    day = on.date() if on else day_of(at)
    with open_shop(shop_file) as shop:
        found = recompute_run(shop, run, day, reason, shop.stamp(by, at))
    numbers = [line.number for line in found.affected]
    if as_json:
        print_json({"results": [*found.results], "affected": numbers})
        return
    _tell([f"{len(found.results)} results changed; certificates affected: {numbers or 'none'}"])


@command.command(name="list")
@click.option("--serial", help="Only those of a unit.")
@click.option("--batch", help="Only those of a batch.")
@click.option("--doubtful", is_flag=True, help="Only those that something has put in doubt.")
@shop_option
@json_option
def list_command(
    serial: str | None, batch: str | None, doubtful: bool, shop_file: Path, as_json: bool
) -> None:
    """List the certificates with what became of them, and what puts them in doubt."""
    with open_shop(shop_file) as shop:
        doubts = doubts_of(shop)
        lines = certificates_of(shop.records, serial, batch)
    shown = [line for line in lines if not doubtful or line.number in doubts]
    if as_json:
        print_json(issued_json(shown, doubts))
    else:
        _tell(issued_lines(shown, doubts))


@command.command()
@by_option
@click.option("--rotate", is_flag=True, help="Make a new key; the earlier can sign no more.")
@shop_option
@passphrase_option
@json_option
def key(
    by: str, rotate: bool, shop_file: Path, passphrase_file: Path | None, as_json: bool
) -> None:
    """Show the signing keys' fingerprints, to be told to customers by another way.

    The first call makes key 1; a passphrase given then, or when rotating, locks the key.
    """
    phrase, at = _passphrase(passphrase_file), utc_now()
    with open_shop(shop_file) as shop:
        used = signing_key(shop, shop.stamp(by, at), phrase, rotate)
        known = {number: fingerprint(public) for number, public in public_keys(shop.keys).items()}
    if as_json:
        print_json({"in_use": used.number, "fingerprints": known})
        return
    for number, print_ in known.items():
        state = "in use" if number == used.number else "retired, still trusted"
        _tell([f"key {number}  {print_}  {state}"])


def _tell(lines: Iterable[str]) -> None:
    for line in lines:
        console().print(line, markup=False, soft_wrap=True)


def _tell_pdf(pdf: Path, as_json: bool) -> None:
    if as_json:
        print_json({"number": pdf.stem, "pdf": str(pdf)})
    else:
        _tell([str(pdf)])


def _passphrase(path: Path | None) -> bytes | None:
    if path is None:
        return None
    try:
        with path.open("rb") as file:
            first = file.read(LARGEST_PASSPHRASE).splitlines()
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror}") from error
    if not first or not first[0]:
        raise InputError(f"{path}: its first line is empty; write the passphrase there")
    return first[0]
