"""Entries for the record made of what a person gave, refused in one line a fault."""

from __future__ import annotations

import datetime as dt
from typing import Any, TypeVar

from pydantic import ValidationError

from proofbath.description import Described
from proofbath.errors import InputError
from proofbath.store.records import Stamp

D = TypeVar("D", bound=Described)


def made(kind: type[D], called: str, /, **fields: Any) -> D:
    """Return the entry that `fields` make; raises InputError with every fault, each named."""
    try:
        return kind(**fields)
    except ValidationError as error:
        raise InputError(*[f"{called}: {_fault(dict(e))}" for e in error.errors()]) from error


def _fault(error: dict[str, Any]) -> str:
    place = ".".join(str(part) for part in error["loc"])
    message = error["msg"].removeprefix("Value error, ")
    given = error["input"]
    shown = f", given {given!r}" if isinstance(given, int | float | str) else ""
    return f"{place + ': ' if place else ''}{message[0].lower()}{message[1:]}{shown}"


def day_of(at: str) -> dt.date:
    """Return the day of a stamp's ISO 8601 time."""
    return Stamp(at).day
