"""The table in an engine's log: how its cells are parted, which columns are time and coolant."""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Sequence
from typing import NamedTuple

from proofbath.errors import InputError
from proofbath.proof.log_times import MOST_FAULTS, DayOrder, TimeUnit, number_in_cell

SEPARATORS = {";": "semicolons", "\t": "tabs", ",": "commas", "|": "bars"}
FEWEST_SHOWN, MOST_SHOWN = 2, 30
NO_VALUE = {"", "-", "--", "---", "nan", "n/a", "#n/a", "na", "null", "none"}
MOST_LINES_BEFORE = 100
"""Lines before the header in which a logger may say what it is."""

_COOLANT = re.compile(
    r"coolant|cooling|jacket|\b(ect|clt|cts)\b|k(ü|ue|u)hl(mittel|wasser|fl)|wasser|\bwater"
    r"|refroid|koelwater|koelvloei|kj(ø|o)le|kylv"
)
_NO_TEMPERATURE = re.compile(
    r"press|druck|level|stand|flow|state|status|target|setpoint|soll|fan|pump|rpm|volt|ohm"
)
_TEMPERATURE = re.compile(r"temp(?!s\b)|\b(deg)?[cf]\b|celsius|fahrenheit")
_OF_ELSE = re.compile(
    r"\b(oil|öl|air|luft|iat|egt|cabin|fuel|gear|charge|cpu|room)|exhaust|abgas|ambient|outside"
    r"|intake|batter|board|getriebe"
)
_TIME = re.compile(
    r"\b(t|time|times|timestamp|stamp|datetime|temps|heure|tijd|tid|hora|elapsed|millis|ms|secs?"
    r"|seconds?|sekunden?)\b|zeit"
)
_DATE = re.compile(r"\b(date|datum|day|tag|fecha|dato)\b")
_CELSIUS, _FAHRENHEIT = {"c", "degc", "celsius"}, {"f", "degf", "fahrenheit"}
_TIME_UNITS = {
    **dict.fromkeys(("ms", "msec", "millis", "milliseconds"), TimeUnit.MILLISECONDS),
    **dict.fromkeys(("s", "sec", "secs", "second", "seconds", "sek"), TimeUnit.SECONDS),
    **dict.fromkeys(("min", "mins", "minute", "minutes", "minuten"), TimeUnit.MINUTES),
    **dict.fromkeys(("h", "hr", "hrs", "hour", "hours", "stunden"), TimeUnit.HOURS),
    **dict.fromkeys(("d", "days"), TimeUnit.DAYS),
}


class Picks(NamedTuple):
    """What a person says of a log; empty or None is found by itself, or asked.

    A column is named as its header is, or by its number from 1.
    """

    time_column: str = ""
    temperature_column: str = ""
    fahrenheit: bool | None = None
    time_unit: TimeUnit | None = None
    day_order: DayOrder | None = None


class Table(NamedTuple):
    """The samples of a log as text: line numbers, times and temperatures, and their headers."""

    lines: tuple[int, ...]
    times: tuple[str, ...]
    temperatures: tuple[str, ...]
    time_header: str
    temperature_header: str
    separator: str
    without_value: int

    def fahrenheit(self) -> bool | None:
        """Return whether the header says °F, None where it says neither."""
        words = {*_words(self.temperature_header).split()}
        if words & _FAHRENHEIT:
            return True
        return False if words & _CELSIUS else None

    def time_unit(self) -> TimeUnit | None:
        """Return the unit the header of plain numbers says."""
        units = [_TIME_UNITS[w] for w in _words(self.time_header).split() if w in _TIME_UNITS]
        return units[-1] if units else None


def read_table(text: str, name: str, picks: Picks) -> Table:
    """Return the two columns of a log; raises InputError, and asks where more than one could be."""
    lines = text.removeprefix("\ufeff").splitlines()
    faults = list[str]()
    for separator in SEPARATORS:
        try:
            rows = [*csv.reader(lines, delimiter=separator)]
        except csv.Error as error:
            faults.append(f"{name}: no table: {error}")
            continue
        for number, row in enumerate(rows[:MOST_LINES_BEFORE]):
            below = rows[number + 1 : number + 4]
            coolants = _columns(row, below, picks.temperature_column, COOLANT)
            times = _columns(row, below, picks.time_column, TIME)
            if len(coolants) == 1:
                times -= coolants
            if len(times) == 1:
                coolants -= times
            if coolants and times:
                time, coolant = _one(row, times, TIME, name), _one(row, coolants, COOLANT, name)
                return _table(rows, number, time, coolant, separator, name)
    raise InputError(*faults or [_none_found(lines, name, picks)])


def _columns(row: Sequence[str], below: Sequence[Sequence[str]], pick: str, kind: Kind) -> set[int]:
    """Return the columns of a header that may be the one sought; `below` are the rows after it."""
    if not pick:
        return kind.found([_words(cell) for cell in row])
    named = {n for n, cell in enumerate(row) if _same(cell, pick)}
    if named or not pick.isdecimal():
        return named
    at = int(pick) - 1
    if not 0 <= at < len(row):
        return set()
    filled = any(at < len(one) and any(sign.isdigit() for sign in one[at]) for one in below)
    return {at} if filled else set()


def _same(cell: str, pick: str) -> bool:
    return cell.strip().casefold() == pick.strip().casefold()


def _words(cell: str) -> str:
    """Return the words of a header in small letters: parted at signs, digits and inner capitals."""
    text = cell.replace("\u2109", " F ").replace("\u2103", " C ").replace("\u00ba", " ")
    text = re.sub(r"(?<=[a-zäöüß])(?=[A-Z])|(?<=[^\W\d])(?=\d)", " ", text)
    return re.sub(r"[\W_]+", " ", text).strip().lower()


def _coolants(headers: Sequence[str]) -> set[int]:
    named = {
        n for n, h in enumerate(headers) if _COOLANT.search(h) and not _NO_TEMPERATURE.search(h)
    }
    own = {n for n in named if headers[n] == "coolant c"}
    if own or named:
        return own or named
    return {n for n, h in enumerate(headers) if _is_temperature(h) and not _OF_ELSE.search(h)}


def _is_temperature(header: str) -> bool:
    return bool(_TEMPERATURE.search(header)) and not _NO_TEMPERATURE.search(header)


def _times(headers: Sequence[str]) -> set[int]:
    others = {n for n, h in enumerate(headers) if _is_temperature(h) or _COOLANT.search(h)}
    timed = {n for n, h in enumerate(headers) if _TIME.search(h)} - others
    own = {n for n in timed if headers[n] == "t s"}
    return own or timed or _dates(headers)


def _dates(headers: Sequence[str]) -> set[int]:
    return {n for n, h in enumerate(headers) if _DATE.search(h)}


class Kind(NamedTuple):
    """A sought column: what it is called to a person, and how it is found by its header."""

    words: str
    found: Callable[[Sequence[str]], set[int]]


TIME = Kind("time", _times)
COOLANT = Kind("temperature", _coolants)


def _one(row: Sequence[str], found: set[int], kind: Kind, name: str) -> int:
    if len(found) > 1:
        shown = _listed([row[n] for n in sorted(found)])
        raise InputError(
            f"{name}: the {kind.words} column may be any of {shown}; which one is it?"
            f" Pick the {kind.words} column by its name or its number"
        )
    return found.pop()


def _listed(cells: Sequence[str]) -> str:
    more = ", …" if len(cells) > MOST_SHOWN else ""
    return ", ".join(repr(cell.strip()[:40]) for cell in cells[:MOST_SHOWN]) + more


def _none_found(lines: Sequence[str], name: str, picks: Picks) -> str:
    """Return what to do where no header shows both columns."""
    begin = [line for line in lines[:MOST_LINES_BEFORE] if line.strip()]
    rows = [row for sep in SEPARATORS for row in csv.reader(begin, delimiter=sep)]
    widest = max(rows, key=len, default=[])
    if len(widest) < FEWEST_SHOWN:
        return (
            f"{name}: no table: a header and lines of a time and a coolant temperature are needed,"
            " parted by semicolons, tabs or commas"
        )
    asked = [
        f"{kind.words} column" + (f" {pick!r}" if pick else "")
        for kind, pick in ((TIME, picks.time_column), (COOLANT, picks.temperature_column))
        if not _columns(widest, [widest], pick, kind)
    ]
    missing = " and ".join(asked or ["header"])
    return (
        f"{name}: no {missing} among {_listed(widest)}; pick the time column and the temperature"
        " column by their names or numbers"
    )


def _table(
    rows: Sequence[Sequence[str]], number: int, time: int, coolant: int, separator: str, name: str
) -> Table:
    """Return the samples below a header in row `number`, from 0."""
    header = [cell.strip() for cell in rows[number]]
    first, wide = number + 1, len(header)
    if number_in_cell(header[coolant]) is not None:  # no header: the columns were picked by number
        header, first = [f"column {n + 1}" for n in range(wide)], number
    elif _are_units(rows[first : first + 1], time, coolant):
        header = [" ".join(pair) for pair in zip(header, rows[first], strict=False)]
        first += 1
    dates = _dates([_words(cell) for cell in header]) - {time}
    kept, faults, empty = list[tuple[int, str, str]](), list[str](), 0
    for line, cells in enumerate(rows[first:], start=first + 1):
        if not any(cell.strip() for cell in cells):
            continue
        if len(cells) <= max(time, coolant) or any(cell.strip() for cell in cells[wide:]):
            faults.append(
                f"{name}: line {line}: {len(cells)} cells, the header has {wide}; decimal commas"
                " need semicolons or tabs between the cells"
            )
        elif cells[coolant].strip().casefold() in NO_VALUE:
            empty += 1
        else:
            kept.append((line, _when(cells, time, dates), cells[coolant]))
        if len(faults) == MOST_FAULTS:
            break
    if faults or not kept:
        raise InputError(*faults or [f"{name}: no line has a value in {header[coolant]!r}"])
    lines, times, temperatures = zip(*kept, strict=True)
    return Table(
        lines, times, temperatures, header[time], header[coolant], SEPARATORS[separator], empty
    )


def _are_units(rows: Sequence[Sequence[str]], time: int, coolant: int) -> bool:
    """Whether a row below the header holds units: words in both columns, and no digit."""
    cells = [row[at] for row in rows for at in (time, coolant) if at < len(row)]
    words = bool(_words("".join(cells)))
    return len(cells) == 2 and words and not any(sign.isdigit() for c in cells for sign in c)


def _when(cells: Sequence[str], time: int, dates: set[int]) -> str:
    """Return the time of a row, with its date where that has a column of its own."""
    if len(dates) != 1 or number_in_cell(cells[time]) is not None:
        return cells[time]
    return f"{cells[min(dates)]} {cells[time]}"
