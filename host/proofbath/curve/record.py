"""A unit's record: time, bath temperature and lift, and its CSV text."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from proofbath.errors import InputError, RecordError

Floats = npt.NDArray[np.float64]

COLUMNS = ("t_s", "bath_c", "lift_mm")
ELEMENT_COLUMNS = ("element_a", "element_v")
FEWEST_SAMPLES = 20
MOST_FAULTS_SHOWN = 5
LONGEST_LINE = 100_000


class Cold(NamedTuple):
    """What a station's gauge read at a bath so cold that its valve was shut."""

    bath_c: float
    lift_mm: float


@dataclass(frozen=True)
class CurveRecord:
    """One unit's samples in time order, float64 arrays of one length; NaN where a value is missing.

    Lift is calibrated but not zeroed. Raises RecordError when the arrays do not fit together.
    """

    t_s: Floats
    bath_c: Floats
    lift_mm: Floats
    element_a: Floats | None = None
    element_v: Floats | None = None
    name: str = "record"
    left_out: tuple[tuple[float, float], ...] = ()
    """Stretches, from and to in s, left out on purpose: no gap is told there."""
    core_c: float | None = None
    """Hottest the heater's core was, in °C, where its resistance tells it."""
    cold: Cold | None = None
    """The gauge in the cold before the record begins, where that is known."""

    def __post_init__(self) -> None:
        for column in (*COLUMNS, *ELEMENT_COLUMNS):
            values = getattr(self, column)
            if values is not None:
                values = np.ascontiguousarray(values, dtype=np.float64)
                object.__setattr__(self, column, values)
                if values.shape != np.shape(self.t_s) or values.ndim != 1:
                    raise RecordError(f"{self.name}: {column} has another length than t_s")
        if len(self.t_s) < FEWEST_SAMPLES:
            raise RecordError(
                f"{self.name}: too short: {len(self.t_s)} samples, at least {FEWEST_SAMPLES} needed"
            )
        if not np.isfinite(self.t_s).all():
            raise RecordError(f"{self.name}: t_s holds values that are not numbers")
        back = np.flatnonzero(np.diff(self.t_s) < 0)
        if len(back):
            before, after = self.t_s[back[0] : back[0] + 2]
            raise RecordError(
                f"{self.name}: time goes back at sample {back[0] + 2}:"
                f" {after:g} s after {before:g} s; sort or split the record"
            )


def parse_csv(text: str, name: str) -> CurveRecord:
    """Return the record of a curve CSV; raises InputError, one line for each fault found.

    A header row names the columns t_s, bath_c, lift_mm and perhaps element_a, element_v;
    further columns are ignored; an empty cell or "nan" is a missing value.
    """
    if not text.strip():
        raise InputError(f"{name}: empty; a header row t_s,bath_c,lift_mm and samples are needed")
    if "\x00" in text:
        raise InputError(f"{name}: binary data, not a CSV text")
    header_line, _, body = text.removeprefix("\ufeff").partition("\n")
    header = [cell.strip().strip('"') for cell in header_line.split(",")]
    places = _places(header, header_line, name)
    table = _read_at_once(body, header, places)
    if table is None:
        table = _read_row_by_row(body, header, places, name)
    if len(table) < FEWEST_SAMPLES:
        raise InputError(
            f"{name}: too short: {len(table)} samples, at least {FEWEST_SAMPLES} needed"
        )
    _check_values(table, places, name)
    columns = dict(zip(places, table.T, strict=True))
    return CurveRecord(**columns, name=name)


def _places(header: list[str], header_line: str, name: str) -> dict[str, int]:
    if ";" in header_line or "\t" in header_line:
        raise InputError(
            f"{name}: line 1: cells are parted by semicolons or tabs;"
            " part them by commas and write decimal points"
        )
    missing = [column for column in COLUMNS if column not in header]
    if missing:
        shown = ",".join(header)[:60]
        raise InputError(
            f"{name}: line 1: no column {', '.join(missing)}; the header reads {shown!r},"
            f" {','.join(COLUMNS)} is needed"
        )
    wanted = [*COLUMNS, *(column for column in ELEMENT_COLUMNS if column in header)]
    twice = [column for column in wanted if header.count(column) > 1]
    if twice:
        raise InputError(f"{name}: line 1: column {twice[0]} stands twice; keep one")
    return {column: header.index(column) for column in wanted}


def _read_at_once(body: str, header: list[str], places: dict[str, int]) -> Floats | None:
    """Read a flawless body fast; None when a row needs a closer look."""
    if not body.strip():
        return np.empty((0, len(places)))
    try:
        table = np.loadtxt(
            io.StringIO(body), delimiter=",", usecols=list(places.values()), ndmin=2, comments=None
        )
    except ValueError:
        return None
    even = body.count(",") == (len(header) - 1) * len(table)
    return table if even else None


def _read_row_by_row(body: str, header: list[str], places: dict[str, int], name: str) -> Floats:
    """Read what the fast way refused: quotes and empty cells pass, all else becomes faults."""
    rows: list[list[float]] = []
    faults: list[str] = []
    for line, text in enumerate(body.splitlines(), start=2):
        cells = next(csv.reader([text[:LONGEST_LINE]]), [])
        if not cells:
            continue
        if len(cells) != len(header):
            faults.append(_width_fault(cells, header, f"{name}: line {line}"))
        else:
            row = [_number(cells[place]) for place in places.values()]
            faults += [
                f"{name}: line {line}: {column} is not a number: {cells[places[column]][:30]!r}"
                for column, value in zip(places, row, strict=True)
                if value is None
            ]
            rows.append([math.nan if value is None else value for value in row])
        if len(faults) >= MOST_FAULTS_SHOWN:
            faults.append(f"{name}: reading stopped after {len(faults)} faults")
            break
    if faults:
        raise InputError(*faults)
    return np.array(rows, dtype=np.float64).reshape(len(rows), len(places))


def _width_fault(cells: list[str], header: list[str], place: str) -> str:
    whole = all(cell.strip().lstrip("+-").isdigit() for cell in cells)
    if whole and len(header) < len(cells) <= 2 * len(header):
        return f"{place}: decimal commas; write decimal points, as in 82.15"
    return f"{place}: {len(cells)} cells, the header has {len(header)}"


def _number(cell: str) -> float | None:
    try:
        return float(cell) if cell.strip() else math.nan
    except ValueError:
        return None


def _check_values(table: Floats, places: dict[str, int], name: str) -> None:
    for column, values in zip(places, table.T, strict=True):
        bad = np.flatnonzero(np.isinf(values) | (np.isnan(values) & (column == "t_s")))
        if len(bad):
            raise InputError(f"{name}: line {bad[0] + 2}: {column} is not a finite number")
    back = np.flatnonzero(np.diff(table[:, 0]) < 0)
    if len(back):
        before, after = table[back[0] : back[0] + 2, 0]
        raise InputError(
            f"{name}: line {back[0] + 3}: time goes back, {after:g} s after {before:g} s;"
            " sort or split the file"
        )


def to_csv(record: CurveRecord) -> str:
    """Return the curve CSV of a record: 1 ms, 0.1 mK, 10 nm, 0.1 mA and 1 mV are kept."""
    columns = [record.t_s, record.bath_c, record.lift_mm]
    names, layout = list(COLUMNS), "%.3f,%.4f,%.5f"
    if record.element_a is not None and record.element_v is not None:
        columns += [record.element_a, record.element_v]
        names, layout = [*COLUMNS, *ELEMENT_COLUMNS], layout + ",%.4f,%.3f"
    rows = zip(*(values.tolist() for values in columns), strict=True)
    return "\n".join([",".join(names), *(layout % row for row in rows), ""])
