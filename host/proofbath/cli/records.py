"""`proofbath records`: persons, backup, restore, and the proof that nothing was changed."""

from __future__ import annotations

from pathlib import Path

import click

from proofbath.bench.clock import utc_text
from proofbath.cli.calibrate_session import open_records, records_option
from proofbath.cli.options import json_option
from proofbath.cli.output import console, print_json
from proofbath.errors import InputError
from proofbath.store.backup import Proven, backup, prove, restore
from proofbath.store.chain import Link
from proofbath.store.kinds import Person, Right
from proofbath.store.records import Stamp
from proofbath.store.tables import place_of


@click.group()
def command() -> None:
    """Look after the records: persons, backup, restore, verify."""


@command.command()
@click.argument("name")
@records_option
@click.option(
    "--right",
    "rights",
    multiple=True,
    required=True,
    type=click.Choice(["viewer", "operator", "certifier", "administrator"]),
    help="What the person may do; may be given more than once.",
)
@click.option(
    "--by", help="Certifier or administrator who says so; only the first person needs none."
)
@json_option
def person(
    name: str, records_text: str, rights: tuple[Right, ...], by: str | None, as_json: bool
) -> None:
    """Put NAME on record with rights; the first person must be certifier or administrator."""
    with open_records(records_text, new=by is None) as records:
        who = records.find(Person, name=by).root if by else None
        number = records.add(Person(name=name, rights=rights), Stamp(utc_text(), who))
    if as_json:
        print_json({"name": name, "person": number, "rights": list(rights)})
    else:
        console().print(f"{name}: on record as person {number}", markup=False)


@command.command()
@records_option
@click.option("--link", help="A link kept elsewhere, NUMBER:DIGEST: is it still in the chain?")
@json_option
def verify(records_text: str, link: str | None, as_json: bool) -> None:
    """Check every record and every journalled sample against its chain."""
    _tell(prove(place_of(records_text), _link(link)), "unchanged", as_json)


@command.command(name="backup")
@click.argument("file", type=click.Path(path_type=Path))
@records_option
@json_option
def backup_command(file: Path, records_text: str, as_json: bool) -> None:
    """Copy the database to a new FILE while it is in use, its digest beside it.

    Keep the link that is printed: it shows later that the end was not cut off.
    """
    _tell(backup(place_of(records_text), file), f"copied to {file}", as_json)


@command.command(name="restore")
@click.argument("file", type=click.Path(path_type=Path))
@click.argument("target", type=click.Path(path_type=Path))
@json_option
def restore_command(file: Path, target: Path, as_json: bool) -> None:
    """Bring the backup FILE back as TARGET, which must not be there yet."""
    _tell(restore(file, target), f"restored to {target}", as_json)


def _link(text: str | None) -> Link | None:
    if text is None:
        return None
    number, _, digest = text.partition(":")
    if not number.isdecimal() or len(digest) != 64:
        raise InputError(f"--link: {text!r} is no link; give NUMBER:DIGEST as a backup prints it")
    return Link(int(number), digest)


def _tell(found: Proven, what: str, as_json: bool) -> None:
    if as_json:
        print_json(found._asdict() | {"head": found.head._asdict()})
        return
    console().print(
        f"{what}: {found.records} records, {found.runs} runs of {found.chunks} chunks; link"
        f" {found.head.number}:{found.head.digest}",
        markup=False,
        soft_wrap=True,
    )
