"""The bench file with something written into it: its own words kept."""

from __future__ import annotations

import os
import secrets
from pathlib import Path
from tempfile import TemporaryFile

import tomlkit
from tomlkit.items import Item, Table

from proofbath.bench.description import BenchFile
from proofbath.bench.tune import Tuning
from proofbath.description import parse_toml
from proofbath.errors import InputError
from proofbath.files import read_text
from proofbath.virtual.description import VirtualSection

DIGITS = 6
BACKUP = ".bak"
NOTICE = "Written by proofbath tune; run it again rather than change a figure."


def check_place(path: Path) -> None:
    """Refuse a bench file that could not be replaced when the test is over; raises InputError."""
    folder = path.resolve().parent
    try:
        with TemporaryFile(dir=folder):
            pass
    except OSError as error:
        raise InputError(
            f"{folder}: cannot be written: {error.strerror}; change its permissions, or leave the"
            " bench file as it is with --dry"
        ) from error


def write_tuning(path: Path, tuning: Tuning) -> Path:
    """Write a tuning into the bench file it belongs to; return where the old file is kept.

    After a power cut the file is the old one or the new one, whole.  Raises InputError.
    """
    place = path.resolve()  # a link stays one
    old = read_text(place)
    new = tuned_text(old, tuning, str(path))
    backup = place.with_name(place.name + BACKUP)
    _replace(backup, old, place)
    _replace(place, new, place)
    return backup


def write_virtual(path: Path, section: VirtualSection) -> None:
    """Write the units of a virtual bench into its file, and how often they were reworked.

    Only what is different is touched.  Raises InputError.
    """
    place = path.resolve()
    text = read_text(place)
    document = tomlkit.parse(text)
    virtual = document["virtual"]
    assert isinstance(virtual, dict), "checked as a virtual bench"
    if section.reworks:
        virtual["reworks"] = section.reworks
    described = {unit["serial"]: unit for unit in virtual["unit"]}
    before = parse_toml(text, BenchFile, str(path)).virtual
    assert before is not None, "checked as a virtual bench"
    for was, now in zip(before.unit, section.unit, strict=True):
        told = now.model_dump(mode="json")
        for key, value in now:
            if getattr(was, key) != value:
                described[now.serial][key] = _inline(told[key])
    new = tomlkit.dumps(document)
    parse_toml(new, BenchFile, str(path))
    _replace(place, new, place)


def tuned_text(text: str, tuning: Tuning, name: str) -> str:
    """Return the text of a bench file with the figures found, comments and order as they were.

    Raises InputError where the text describes no bench, or another than was tuned.
    """
    bench = parse_toml(text, BenchFile, name)
    if bench.bench.name != tuning.tuned.bench:
        raise InputError(
            f"{name}: describes bench {bench.bench.name}, tuned was {tuning.tuned.bench}; "
            "name the file of the bench that was tuned"
        )
    document = tomlkit.parse(text)
    bath = document["bath"]
    assert isinstance(bath, dict), "checked as a bench file"
    for key in tuning.found.standard_uncertainty:
        bath[key] = _short(getattr(tuning.found.model, key))
    document["tuned"] = _section(tuning)
    new = tomlkit.dumps(document)
    parse_toml(new, BenchFile, name)
    return new


def _inline(value: object) -> Item:
    """Return a value for one line of a table; a list of tables takes a line for each."""
    if not isinstance(value, list):
        return tomlkit.item(value)
    lines = tomlkit.array()
    for each in value:
        table = tomlkit.inline_table()
        table.update(each)
        lines.append(table)
    return lines.multiline(True)


def _section(tuning: Tuning) -> Table:
    section = tomlkit.table()
    section.add(tomlkit.comment(NOTICE))
    for key, value in tuning.tuned.model_dump(exclude={"standard_uncertainty"}).items():
        section.add(key, _short(value) if isinstance(value, float) else value)
    known = tomlkit.table()
    for key, value in tuning.tuned.standard_uncertainty.items():
        known.add(key, _short(value, 2))
    section.add("standard_uncertainty", known)
    return section


def _short(value: float, digits: int = DIGITS) -> float:
    return float(f"{value:.{digits}g}")


def _replace(path: Path, text: str, like: Path) -> None:
    """Put a file in place durably, with the permissions of `like`."""
    part = path.with_name(f".{path.name}.{secrets.token_hex(4)}")
    try:
        with part.open("xb") as file:
            os.fchmod(file.fileno(), like.stat().st_mode & 0o7777)
            file.write(text.encode())
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
        folder = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)
    except OSError as error:
        raise InputError(
            f"{path}: cannot be written: {error.strerror}; put the figures in by hand"
        ) from error
    finally:
        part.unlink(missing_ok=True)
