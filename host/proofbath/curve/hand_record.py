"""Readings typed by a person: their CSV, corrections in it, and the rises they make up.

The file is only ever added to: a mistyped reading stays, and a later row takes it back.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

from proofbath.curve.hand_number import NOT_READ, parse_number
from proofbath.curve.record import COLUMNS, ELEMENT_COLUMNS
from proofbath.errors import InputError

TAKEN_BACK = "taken_back"
TURN_K = 2.0
SHORTEST_RISE_K = 3.0
SAME_A, SAME_RELATIVE = 0.02, 0.02
COLDEST_C, HOTTEST_C = -10.0, 130.0
MOST_LIFT_MM = 200.0
"""A reading may count from the tool's own zero, not the valve's."""
MOST_A, MOST_V = 1.5, 30.0


class HandPoint(NamedTuple):
    """One reading; NaN where the lift or the voltage was not read."""

    t_s: float
    bath_c: float
    lift_mm: float
    element_a: float = 0.0
    element_v: float = math.nan


class Rise(NamedTuple):
    """Readings from the coldest to the hottest of a heating, under one element current."""

    points: tuple[HandPoint, ...]

    @property
    def element_a(self) -> float:
        """The mean element current in A."""
        return math.fsum(point.element_a for point in self.points) / len(self.points)


def header(heated: bool) -> str:
    """Return the first row of a file of readings."""
    return ",".join([*COLUMNS, *(ELEMENT_COLUMNS if heated else ()), TAKEN_BACK]) + "\n"


def reading_row(point: HandPoint, heated: bool) -> str:
    """Return the row of a reading."""
    cells = [f"{point.t_s:.1f}", _cell(point.bath_c), _cell(point.lift_mm)]
    cells += [_cell(point.element_a), _cell(point.element_v)] if heated else []
    return ",".join([*cells, ""]) + "\n"


def taken_back_row(t_s: float, number: int, heated: bool) -> str:
    """Return the row that takes back the reading of a number, counted from 1."""
    return f"{t_s:.1f}{',' * (5 if heated else 3)}{number}\n"


def _cell(value: float) -> str:
    return "" if math.isnan(value) else f"{value:g}"


def check_reading(point: HandPoint) -> str | None:
    """Return why a reading cannot be one, None where it can."""
    if math.isnan(point.bath_c):
        return "the temperature is missing"
    if not COLDEST_C <= point.bath_c <= HOTTEST_C:
        return f"temperature {point.bath_c:g} °C, possible are {COLDEST_C:g} to {HOTTEST_C:g}"
    if not (math.isnan(point.lift_mm) or abs(point.lift_mm) <= MOST_LIFT_MM):
        return f"lift {point.lift_mm:g} mm, possible are {-MOST_LIFT_MM:g} to {MOST_LIFT_MM:g}"
    if not 0.0 <= point.element_a <= MOST_A:
        return f"element {point.element_a:g} A, possible are 0 to {MOST_A:g}"
    if not (math.isnan(point.element_v) or 0.0 <= point.element_v <= MOST_V):
        return f"element {point.element_v:g} V, possible are 0 to {MOST_V:g}"
    return None


def read_typed(text: str, name: str, heated: bool = False) -> list[HandPoint | None]:
    """Return the readings of a file in order, None for those taken back; raises InputError.

    The columns are those of a curve CSV, parted by commas or semicolons; with semicolons a number
    may have a decimal comma. An empty cell is a value that was not read.
    """
    lines = text.removeprefix("\ufeff").splitlines()
    parted_by = ";" if lines and ";" in lines[0] else ","
    rows = csv.DictReader(lines, delimiter=parted_by)
    there = [cell.strip() for cell in rows.fieldnames or ()]
    rows.fieldnames = there
    current = ELEMENT_COLUMNS[:1] if heated or ELEMENT_COLUMNS[1] in there else ()
    missing = [column for column in (*COLUMNS, *current) if column not in there]
    if missing:
        raise InputError(
            f"{name}: line 1: no column {', '.join(missing)};"
            f" {','.join((*COLUMNS, *current))} is needed, parted by commas or semicolons"
        )
    faults: list[str] = []
    typed: list[HandPoint | None] = []
    for row in rows:
        place = f"{name}: line {rows.line_num}"
        if None in row or None in row.values():
            faults.append(
                f"{place}: {len(there)} cells are needed; write decimal points, or part them by"
                " semicolons"
            )
        elif (row.get(TAKEN_BACK) or "").strip():
            faults += _take_back(typed, row[TAKEN_BACK], place)
        else:
            _read(row, typed, faults, place)
    faults += _backwards(typed, name)
    if faults:
        raise InputError(*faults)
    return typed


def read_points(text: str, name: str, heated: bool = False) -> list[HandPoint]:
    """Return the readings of a file that stand; raises InputError, also where there are none."""
    points = [point for point in read_typed(text, name, heated) if point is not None]
    if not points:
        raise InputError(f"{name}: holds no reading; write one a line below the first")
    return points


def _read(
    row: dict[str, str], typed: list[HandPoint | None], faults: list[str], place: str
) -> None:
    values = {}
    for column in (*COLUMNS, *ELEMENT_COLUMNS):
        cell = (row.get(column) or "").strip()
        number = math.nan if cell.lower() in NOT_READ else parse_number(cell)
        if number is None:
            faults.append(f"{place}: {column} is not a number: {cell[:30]!r}")
            return
        values[column] = number
    if math.isnan(values["element_a"]):
        if values["element_v"] > 0.0:
            faults.append(f"{place}: element_v without element_a; write the current too")
            return
        values["element_a"] = 0.0
    point = HandPoint(**values)
    why = "t_s is missing" if not math.isfinite(point.t_s) else check_reading(point)
    if why:
        faults.append(f"{place}: {why}; correct it")
    else:
        typed.append(point)


def _take_back(typed: list[HandPoint | None], cell: str, place: str) -> list[str]:
    if not cell.strip().isdecimal() or not 1 <= int(cell) <= len(typed):
        return [f"{place}: {TAKEN_BACK} {cell[:20]!r} is no reading above; correct it"]
    typed[int(cell) - 1] = None
    return []


def _backwards(typed: Sequence[HandPoint | None], name: str) -> list[str]:
    times = [point.t_s for point in typed if point]
    return [
        f"{name}: time goes back, {after:g} s after {before:g} s; sort or split the file"
        for before, after in pairwise(times)
        if after < before
    ][:1]


def rises_of(points: Sequence[HandPoint]) -> list[Rise]:
    """Return the heatings: each ends where the bath turns by 2 K or the current changes."""
    parts: list[list[HandPoint]] = [[]]
    for point in points:
        part = parts[-1]
        if part and (
            not same_current(point.element_a, part[-1].element_a)
            or point.bath_c < max(p.bath_c for p in part) - TURN_K
        ):
            parts.append([])
        parts[-1].append(point)
    return [rise for part in parts if (rise := _rise(part)) is not None]


def same_current(one_a: float, other_a: float) -> bool:
    """Tell whether two currents are one setting."""
    return abs(one_a - other_a) <= SAME_A + SAME_RELATIVE * max(one_a, other_a)


def _rise(part: Sequence[HandPoint]) -> Rise | None:
    if not part:
        return None
    baths = [point.bath_c for point in part]
    top = len(baths) - 1 - baths[::-1].index(max(baths))
    bottom = baths[: top + 1].index(min(baths[: top + 1]))
    if baths[top] - baths[bottom] < SHORTEST_RISE_K:
        return None
    return Rise(tuple(part[bottom : top + 1]))
