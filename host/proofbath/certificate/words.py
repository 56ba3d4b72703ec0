"""Numbers, dates and limits as people read them on paper."""

from __future__ import annotations

import datetime as dt
import math
from decimal import ROUND_HALF_UP, Decimal

MONTHS = (
    *("January", "February", "March", "April", "May", "June", "July"),
    *("August", "September", "October", "November", "December"),
)
MOST_DECIMALS = 6
NOTHING = "–"


def decimals_of(uncertainty: float) -> int:
    """Return the decimals that show an uncertainty by two significant digits (GUM 7.2.6)."""
    if uncertainty <= 0:
        return MOST_DECIMALS
    digits = Decimal(repr(uncertainty))
    decimals = 1 - digits.adjusted()
    rounded = digits.quantize(Decimal(1).scaleb(-decimals), ROUND_HALF_UP)
    return min(MOST_DECIMALS, max(0, 1 - rounded.adjusted()))


def fixed(value: float, decimals: int) -> str:
    """Return a number with so many decimals, halves rounded away from zero, minus as a sign."""
    rounded = Decimal(repr(value)).quantize(Decimal(1).scaleb(-decimals), ROUND_HALF_UP)
    return f"{rounded + 0:f}".replace("-", "−")


def plain(value: float) -> str:
    """Return a stated number by its own digits."""
    return f"{value:.10g}".replace("-", "−")


def whole_freedom(degrees_of_freedom: float | None) -> str:
    """Return degrees of freedom cut to a whole number (GUM G.4.1); None is infinitely many."""
    if degrees_of_freedom is None or degrees_of_freedom > 1000:
        return "∞"
    return str(max(1, math.floor(round(degrees_of_freedom, 2))))


def day(date: dt.date) -> str:
    """Return a date in words no reader takes for another."""
    return f"{date.day} {MONTHS[date.month - 1]} {date.year}"


def short_day(date: dt.date) -> str:
    """Return a date for a narrow column: the month by its first three letters."""
    return f"{date.day} {MONTHS[date.month - 1][:3]} {date.year}"


def days(first: dt.date, last: dt.date) -> str:
    """Return one date, or two with what lies between them."""
    return day(first) if first == last else f"{day(first)} to {day(last)}"


def span(lower: str | None, upper: str | None) -> str:
    """Return limits in words: both, one, or none."""
    if lower is not None and upper is not None:
        return f"{lower} to {upper}"
    if lower is not None:
        return f"≥ {lower}"
    return f"≤ {upper}" if upper is not None else NOTHING
