"""Times in an engine's log: seconds by the clock's stamps, days and orders, or plain numbers."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from enum import StrEnum
from typing import NamedTuple, TypeVar

import numpy as np

from proofbath.errors import InputError

Floats = np.ndarray
T = TypeVar("T")

DAY_S = 86_400.0
SHORTEST_S, LONGEST_S = 600.0, 2 * DAY_S
"""A log that is shorter says too little; a longer one is taken for another unit of time."""
COARSEST_S = 65.0
"""A sample a minute, by a clock that is a little slow."""
MOST_FAULTS = 5
_EPOCH_S = (1e9, 5e9)
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_LETTERS = r"[^\W\d_]"
_DATE = re.compile(
    r"(?P<y>\d{4})(?P<ys>[-/.]?)(?P<m>\d{1,2})(?P=ys)(?P<d>\d{1,2})"
    r"|(?P<a>\d{1,2})(?P<sep>[-/.])(?P<b>\d{1,2})(?P=sep)(?P<c>\d{4}|\d{2})"
    rf"|(?P<nd>\d{{1,2}})[-. ]+(?P<name>{_LETTERS}{{3,9}})[-., ]+(?P<ny>\d{{4}}|\d{{2}})"
    rf"|(?P<name2>{_LETTERS}{{3,9}})\.? (?P<nd2>\d{{1,2}}),? (?P<ny2>\d{{4}})"
)
_CLOCK = re.compile(
    r"(?P<one>\d{1,3}):(?P<two>\d{2})(?::(?P<three>\d{2}))?(?P<part>[.,]\d+)?"
    r"\s*(?P<half>[AaPp])?\.?(?:[Mm]\.?)?\s*(?P<zone>Z|UTC|[+-]\d{2}:?\d{2})?"
)
_BASIC = re.compile(r"(\d{8})[T ](\d{2})(\d{2})(\d{2})")


class TimeUnit(StrEnum):
    """What a plain number of a time column counts."""

    MILLISECONDS = "ms"
    SECONDS = "s"
    MINUTES = "min"
    HOURS = "h"
    DAYS = "d"

    @property
    def seconds(self) -> float:
        """Return how many seconds it has."""
        return {"ms": 0.001, "s": 1.0, "min": 60.0, "h": 3600.0, "d": DAY_S}[self.value]


class DayOrder(StrEnum):
    """Which comes first in a date of three numbers that ends on its year."""

    DAY_FIRST = "day-month"
    MONTH_FIRST = "month-day"


class Times(NamedTuple):
    """Seconds of each row, the day of the first where the log states one, and how it was read."""

    t_s: Floats
    first_day: str | None
    words: str


class _Date(NamedTuple):
    """Year, month and day; two numbers of unknown order where `sep` is given."""

    year: int
    month: int
    day: int
    sep: str = ""


class _Stamp(NamedTuple):
    date: _Date | None
    second: float


def number_in_cell(cell: str) -> float | None:
    """Return the number of a cell with decimal point or comma; None where it is no number."""
    text = re.sub(r"[\s\u00a0']", "", cell).replace("\u2212", "-")
    comma, point = text.rfind(","), text.rfind(".")
    mark, other = (",", ".") if comma > point else (".", ",")
    text = text.replace(other, "").replace(mark, ".")
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def read_times(
    cells: Sequence[str],
    lines: Sequence[int],
    name: str,
    unit: TimeUnit | None,
    order: DayOrder | None,
) -> Times:
    """Return the seconds of the cells of a time column, in lines of these numbers.

    `unit` is that of plain numbers, `order` that of dates, None where nobody told. Raises
    InputError where a cell is no time, and asks where a unit or an order could be either.
    """
    if number_in_cell(cells[0]) is not None:
        values = _each(cells, lines, name, number_in_cell, "number as the first one is")
        return _of_numbers(np.array(values), name, unit)
    stamps = _each(cells, lines, name, _stamp, "time, nor a date with a time")
    return _of_stamps(stamps, lines, name, order)


def _each(
    cells: Sequence[str],
    lines: Sequence[int],
    name: str,
    read: Callable[[str], T | None],
    what: str,
) -> list[T]:
    found, faults = list[T](), list[str]()
    for cell, line in zip(cells, lines, strict=True):
        value = read(cell)
        if value is None:
            faults.append(f"{name}: line {line}: the time {cell[:40]!r} is no {what}")
        else:
            found.append(value)
        if len(faults) == MOST_FAULTS:
            break
    if faults:
        raise InputError(*faults)
    return found


def _of_numbers(values: Floats, name: str, unit: TimeUnit | None) -> Times:
    chosen = unit or _unit_of(values, name)
    t_s = values * chosen.seconds
    low, high = _EPOCH_S
    if low <= t_s[0] < high:  # seconds since 1970, as computers count
        day = str(np.datetime64(int(t_s[0]), "s"))[:10]
        return Times(t_s - t_s[0], day, f"numbers in {chosen} since 1970")
    return Times(t_s, None, f"numbers in {chosen}")


def _unit_of(values: Floats, name: str) -> TimeUnit:
    """Return the one unit in which numbers make a log; asks where more than one does."""
    for unit in (TimeUnit.SECONDS, TimeUnit.MILLISECONDS):
        low, high = _EPOCH_S
        if np.all((values * unit.seconds >= low) & (values * unit.seconds < high)):
            return unit
    fitting = [unit for unit in TimeUnit if _makes_a_log(values * unit.seconds)]
    if len(fitting) > 1:
        lasts = " or ".join(
            f"{(values[-1] - values[0]) * unit.seconds / 60:.0f} min if they count {unit}"
            for unit in fitting
        )
        raise InputError(
            f"{name}: the times are plain numbers without a unit: the log lasts {lasts}; which is"
            f" right? state the time's unit: {' or '.join(fitting)}"
        )
    return fitting[0] if fitting else TimeUnit.SECONDS


def _makes_a_log(t_s: Floats) -> bool:
    steps_s = np.diff(t_s)
    steps_s = steps_s[steps_s > 0]
    if not len(steps_s):
        return False
    usual_s = float(np.median(steps_s))
    return 0.01 <= usual_s <= COARSEST_S and SHORTEST_S <= t_s[-1] - t_s[0] <= LONGEST_S


def _stamp(cell: str) -> _Stamp | None:
    text = _BASIC.sub(r"\1 \2:\3:\4", cell.strip())
    found = _DATE.match(text)
    date = _date(found) if found else None
    if found and date is None:
        return None
    clock = _CLOCK.fullmatch(text[found.end() :].lstrip(" T,") if found else text)
    second = _second(clock) if clock else None
    return None if second is None else _Stamp(date, second)


def _date(found: re.Match[str]) -> _Date | None:
    given = found.groupdict()
    if given["y"]:
        return _Date(int(given["y"]), int(given["m"]), int(given["d"]))
    if given["sep"]:
        return _Date(_year(given["c"]), int(given["b"]), int(given["a"]), given["sep"])
    for name, day, year in (("name", "nd", "ny"), ("name2", "nd2", "ny2")):
        short = (given[name] or "")[:3].lower()
        if short in _MONTHS:
            return _Date(_year(given[year]), _MONTHS.index(short) + 1, int(given[day]))
    return None


def _year(text: str) -> int:
    return int(text) + (2000 if len(text) == 2 else 0)


def _second(clock: re.Match[str]) -> float | None:
    """Return the second of the day, or of the log's own clock; in a zone that of UTC."""
    one, two = int(clock["one"]), int(clock["two"])
    part = float((clock["part"] or "0").replace(",", "."))
    if clock["three"] is None and clock["part"]:  # as spreadsheets show: minutes:seconds.tenths
        hours, minutes, seconds = 0, one, two + part
    else:
        hours, minutes, seconds = one, two, int(clock["three"] or 0) + part
    if clock["half"]:
        if not 1 <= hours <= 12:
            return None
        hours = hours % 12 + (12 if clock["half"] in "Pp" else 0)
    if seconds >= 61 or (minutes >= 60 and hours):
        return None
    return hours * 3600 + minutes * 60 + seconds - _zone_s(clock["zone"])


def _zone_s(zone: str | None) -> float:
    if not zone or zone in ("Z", "UTC"):
        return 0.0
    sign = -1 if zone[0] == "-" else 1
    return sign * (int(zone[1:3]) * 3600.0 + int(zone[-2:]) * 60.0)


def _of_stamps(
    stamps: Sequence[_Stamp], lines: Sequence[int], name: str, order: DayOrder | None
) -> Times:
    second = np.array([stamp.second for stamp in stamps])
    dates = [stamp.date for stamp in stamps]
    dated = [date for date in dates if date is not None]
    if not dated:
        back = np.diff(second, prepend=second[0]) < -DAY_S / 2
        t_s = second + DAY_S * np.cumsum(back)
        return Times(t_s - t_s[0], None, "time of day, or since the start")
    if len(dated) < len(dates):
        line = lines[dates.index(None)]
        raise InputError(f"{name}: line {line}: a time without its date; other lines have one")
    turned = _turned(dated, name, order)
    days, first_day = _days(dated, lines, name, turned)
    t_s = days * DAY_S + second
    words = "date and time" + (f" in {turned} order" if turned else "")
    return Times(t_s - t_s[0], first_day, words)


def _turned(dates: Sequence[_Date], name: str, order: DayOrder | None) -> DayOrder | None:
    """Return the order of day and month where it is not plain; asks where both can be."""
    open_dates = {date for date in dates if date.sep}
    if not open_dates:
        return None
    if order:
        return order
    if any(date.day > 12 for date in open_dates) or all(date.sep == "." for date in open_dates):
        return DayOrder.DAY_FIRST  # with full stops: the way of German and its neighbours
    if any(date.month > 12 for date in open_dates):
        return DayOrder.MONTH_FIRST
    if all(date.day == date.month for date in open_dates):
        return DayOrder.DAY_FIRST
    date = dates[0]
    shown = f"{date.day:02}{date.sep}{date.month:02}{date.sep}{date.year}"
    raise InputError(
        f"{name}: the date {shown} can be read in two ways: day {date.day} of month {date.month},"
        f" or day {date.month} of month {date.day}; state the day order:"
        f" {' or '.join(DayOrder)}"
    )


def _days(
    dates: Sequence[_Date], lines: Sequence[int], name: str, order: DayOrder | None
) -> tuple[Floats, str]:
    """Return the day number of every date, and the first day as ISO 8601 writes it."""
    known = dict[_Date, np.datetime64]()
    for date, line in zip(dates, lines, strict=True):
        if date in known:
            continue
        month, day = date.month, date.day
        if date.sep and order is DayOrder.MONTH_FIRST:
            month, day = day, month
        try:
            known[date] = np.datetime64(f"{date.year:04}-{month:02}-{day:02}", "D")
        except ValueError:
            raise InputError(
                f"{name}: line {line}: there is no day {day} of month {month} in {date.year};"
                " is the day order another one?"
            ) from None
    return np.array([known[date].astype(int) for date in dates], float), str(known[dates[0]])
