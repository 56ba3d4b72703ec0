"""A customer's list of units as CSV, and taking all of it in, or none."""

from __future__ import annotations

import csv
import difflib
import io
from collections.abc import Mapping, Sequence
from typing import NamedTuple, get_args

from proofbath.errors import InputError
from proofbath.store.kinds import Batch, Finding, Findings, Intake, TypeVersion, Unit
from proofbath.store.records import Kept, Stamp, Writer
from proofbath.workshop.entry import made
from proofbath.workshop.intake import put_intake
from proofbath.workshop.shop import Shop

_NUMBERS = ("heater_ohm", "insulation_mohm")
_WORDS = tuple(name for name in Findings.model_fields if name not in _NUMBERS)
_UNIT = ("serial", "description", "customer_mark", "supplier_lot")
COLUMNS = (*_UNIT, "cause", "accepted", "remark", *_WORDS, *_NUMBERS)
"""Known columns; all but `serial` may be left out."""
LARGEST_LINES = 2000


class UnitLine(NamedTuple):
    """One line of a unit list; `line` is its number in the file."""

    line: int
    serial: str
    cause: str
    accepted: bool
    findings: Findings
    remark: str = ""
    description: str = ""
    customer_mark: str = ""
    supplier_lot: str | None = None


def read_unit_list(text: str, name: str) -> list[UnitLine]:
    """Return the lines of a CSV with a header; commas or semicolons, UTF-8.

    `cause` is rework where left out, `accepted` yes.  Raises InputError with every fault found.
    """
    head, _, _ = text.lstrip("\ufeff").partition("\n")
    delimiter = ";" if head.count(";") > head.count(",") else ","
    lines = io.StringIO(text.lstrip("\ufeff"), newline="")
    reader = csv.DictReader(lines, delimiter=delimiter, strict=True)
    try:
        columns = [column.strip().lower() for column in reader.fieldnames or []]
        faults = _column_faults(columns)
        if faults:
            raise InputError(*[f"{name}: {fault}" for fault in faults])
        reader.fieldnames = columns
        rows = [(reader.line_num, row) for row in reader]
    except csv.Error as error:
        raise InputError(f"{name}, line {reader.line_num}: not CSV: {error}") from error
    if not 0 < len(rows) <= LARGEST_LINES:
        raise InputError(f"{name}: {len(rows)} units, 1 to {LARGEST_LINES} wanted")
    return _lines(rows, name)


def _column_faults(columns: Sequence[str]) -> list[str]:
    if "serial" not in columns:
        return [f"has no column 'serial'; known columns: {', '.join(COLUMNS)}"]
    faults = [f"column {c!r} stands twice" for c in sorted({*columns}) if columns.count(c) > 1]
    for column in columns:
        if column not in COLUMNS:
            close = difflib.get_close_matches(column, COLUMNS, 1)
            hint = f"did you mean {close[0]!r}?" if close else f"known: {', '.join(COLUMNS)}"
            faults.append(f"column {column!r} is not known; {hint}")
    return faults


def _lines(rows: Sequence[tuple[int, Mapping[str | None, object]]], name: str) -> list[UnitLine]:
    lines, faults, seen = list[UnitLine](), list[str](), dict[str, int]()
    for number, row in rows:
        try:
            line = _line(number, row, f"{name}, line {number}")
            lines.append(line)
        except InputError as error:
            faults += error.faults
            continue
        if line.serial in seen:
            faults.append(
                f"{name}, line {number}: {line.serial} stands in line {seen[line.serial]} already"
            )
        seen.setdefault(line.serial, number)
    if faults:
        raise InputError(*faults)
    return lines


def _line(number: int, row: Mapping[str | None, object], called: str) -> UnitLine:
    if None in row:
        raise InputError(f"{called}: more cells than the header has columns")
    cells = {str(key): str(value or "").strip() for key, value in row.items()}
    faults = list[str]()

    def one_of(key: str, known: Sequence[str], usual: str) -> str:
        word = cells.get(key, "").lower() or usual
        if word not in known:
            faults.append(f"{called}: {key} is {word!r}; say {', '.join(known)}")
        return word

    def number_of(key: str) -> float | None:
        try:
            return float(cells[key]) if cells.get(key) else None
        except ValueError:
            faults.append(f"{called}: {key} is {cells[key]!r}; give a number with a decimal point")
            return None

    looked = {key: one_of(key, get_args(Finding), "not looked at") for key in _WORDS}
    read = {key: number_of(key) for key in _NUMBERS}
    cause = one_of("cause", get_args(Intake.model_fields["cause"].annotation), "rework")
    accepted = one_of("accepted", ("yes", "no"), "yes") == "yes"
    if not cells["serial"]:
        faults.append(f"{called}: has no serial; read it off the tag")
    if faults:
        raise InputError(*faults)
    texts = {key: cells.get(key, "") for key in ("remark", "description", "customer_mark")}
    found = made(Findings, called, **looked, **read)
    lot = cells.get("supplier_lot") or None
    return UnitLine(number, cells["serial"], cause, accepted, found, **texts, supplier_lot=lot)


def import_units(shop: Shop, batch_name: str, lines: Sequence[UnitLine], stamp: Stamp) -> list[int]:
    """Take all units of a list into a batch, or none, and return the intakes' numbers.

    Units that are not on record are put there.  Raises InputError with every fault found.
    """
    batch = shop.records.find(Batch, name=batch_name)
    version = shop.records.one(TypeVersion, batch.entry.type_version_id).entry
    taken, faults = list[int](), list[str]()
    with shop.records.writing(stamp) as writer:
        for line in lines:
            try:
                taken.append(_take(writer, batch, version.name, line))
            except InputError as error:
                faults += [f"line {line.line}: {fault}" for fault in error.faults]
        if faults:
            raise InputError(*faults)
    return taken


def _take(writer: Writer, batch: Kept[Batch], type_name: str, line: UnitLine) -> int:
    found = writer.current(Unit, serial=line.serial)
    if not found:
        unit = made(
            Unit,
            line.serial,
            serial=line.serial,
            unit_type=type_name,
            description=line.description,
            customer_mark=line.customer_mark,
            supplier_lot=line.supplier_lot,
        )
        writer.add(unit)
        found = writer.current(Unit, serial=line.serial)
    fields = {
        "cause": line.cause,
        "findings": line.findings,
        "accepted": line.accepted,
        "remark": line.remark,
    }
    return put_intake(writer, found[0], batch, fields)
