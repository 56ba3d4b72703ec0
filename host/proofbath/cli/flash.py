"""`proofbath flash`: what a workshop writes into a new controller besides its firmware."""

from __future__ import annotations

from pathlib import Path

import click

from proofbath.bench.serial_image import (
    EEPROM_BYTES,
    from_hex,
    onto,
    serial_bytes,
    serial_in,
    to_hex,
)
from proofbath.cli.options import json_option
from proofbath.cli.output import console, print_json
from proofbath.errors import InputError
from proofbath.files import read_text

PARTS = {"atmega2560": "m2560", "atmega328p": "m328p"}
"""What avrdude calls the boards' processors."""


@click.group()
def command() -> None:
    """Make what is written into a controller with a programmer, next to its firmware."""


@command.command()
@click.argument("number", type=int)
@click.option(
    "--board",
    type=click.Choice(sorted(EEPROM_BYTES)),
    default="atmega2560",
    show_default=True,
    help="Processor of the controller.",
)
@click.option(
    "--onto",
    "read_back",
    type=click.Path(path_type=Path),
    help="The controller's EEPROM as read back; all else in it stays. Leave it out for a new one.",
)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    default=Path("serial.eep"),
    show_default=True,
    help="Image to write, Intel HEX.",
)
@json_option
def serial(number: int, board: str, read_back: Path | None, out: Path, as_json: bool) -> None:
    """Write an EEPROM image that gives a controller its serial NUMBER.

    A controller that has run keeps a latched trip and its limits in the same memory: read it back
    first and name the file with --onto. Without --onto the image holds the serial number alone,
    for a new controller whose EEPROM is blank.
    """
    image, before = serial_bytes(number), None
    if read_back is not None:
        there = from_hex(read_text(read_back), str(read_back))
        image, before = onto(there, number, board, str(read_back)), serial_in(there)
    try:
        out.write_text(to_hex(image))
    except OSError as error:
        raise InputError(f"{out}: cannot be written: {error.strerror}") from error
    line = f"avrdude -p {PARTS[board]} -c PROGRAMMER -P PORT -U eeprom:w:{out}:i"
    if as_json:
        print_json({"serial_number": number, "before": before, "file": str(out), "avrdude": line})
        return
    shown = console()
    if before is not None:
        shown.print(f"serial number before: {before}")
    shown.print(
        f"serial number {number} is in {out}; write it with your programmer:", soft_wrap=True
    )
    shown.print(f"    {line}", soft_wrap=True)
