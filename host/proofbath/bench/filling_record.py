"""The proof of the level switch at a filling: a record beside the bench file.

One float serves the contactor chain and the controller alike.  One that hangs reads "covered" in
an empty bath, and no sample shows it: it must have been seen low since the bath was last filled.
"""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path
from typing import Annotated

from pydantic import Field

from proofbath.bench.sealed import digest_of, load_sealed, save_sealed
from proofbath.description import Described
from proofbath.wire.table import Identity

VALID_DAYS = 31
"""The float is proven every month and at each filling (common practice, no source)."""
LITRES_SHARE = 0.1
"""A bath that holds so much more or less than was filled has been filled anew."""


class Filling(Described):
    """The float was seen low, the bath was filled, the float was seen up."""

    bench: str
    virtual: bool
    serial_number: int
    """Of the controller that saw it."""
    litres: Annotated[float, Field(gt=0.0, le=60.0)]
    low_s: float
    """How long it read low, and then that the level is right, in s."""
    right_s: float
    at: str
    """UTC, ISO 8601."""
    person: str

    def digest(self) -> str:
        """Return the SHA-256 over the record's canonical text."""
        return digest_of(self)

    def fault(self, bench: str, fill_l: float, filled_on: date | None, now: str) -> str:
        """Return why it proves nothing for a bath as its file says it is filled; else nothing."""
        age_days = (datetime.fromisoformat(now) - datetime.fromisoformat(self.at)).days
        on = self.at[:10]
        if self.virtual or self.bench != bench:
            return f"the level switch was proven on {self.bench}, not on {bench}"
        if filled_on is not None and filled_on.isoformat() > on:
            return f"the bath was filled on {filled_on}, its level switch was last proven on {on}"
        if abs(self.litres / fill_l - 1.0) > LITRES_SHARE:
            return (
                f"the level switch was proven with {self.litres:.1f} l on {on},"
                f" the bench file says {fill_l:.1f} l (fill_l)"
            )
        if age_days > VALID_DAYS:
            return f"the level switch was last proven {age_days} days ago, limit {VALID_DAYS}"
        return ""

    def of(self, identity: Identity) -> bool:
        """Whether this controller saw it."""
        return self.serial_number == identity.serial_number


def filling_path(bench_file: Path) -> Path:
    """Return where a bench file's record of its filling is kept: beside it."""
    return bench_file.with_suffix(".filling.json")


def save_filling(path: Path, filling: Filling) -> None:
    """Write a record; raises InputError when it cannot be."""
    save_sealed(path, filling)


def load_filling(path: Path) -> Filling | None:
    """Return the record, None where there is none; raises RecordError for a changed one."""
    return load_sealed(path, Filling, "prove the level switch again")
