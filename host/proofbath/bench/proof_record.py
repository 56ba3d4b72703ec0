"""The proof of a bench's interlocks: a record beside its bench file, with a digest over itself.

A night's journal keeps the digest of the proof it ran under.
"""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Annotated

from pydantic import Field

from proofbath.bench.interlock_judge import Finding
from proofbath.bench.interlocks import wanted_rows
from proofbath.bench.sealed import digest_of, load_sealed, save_sealed
from proofbath.description import Described
from proofbath.wire.table import Identity

VALID_DAYS = 365
"""Twelve months: then every interlock is proven anew (common practice, no source)."""


class ProvenRow(Described):
    """One row as it was found."""

    ok: bool
    measured: str
    wanted: str
    at: str
    """UTC, ISO 8601."""
    person: str


class Proof(Described):
    """What is proven of one controller on one bench."""

    bench: str
    virtual: bool
    serial_number: int
    firmware: int
    board: int
    stations: Annotated[tuple[int, ...], Field(min_length=1)]
    """Those in use; the others may not be loaded on an unattended night."""
    rows: dict[str, ProvenRow] = Field(default_factory=dict)

    def digest(self) -> str:
        """Return the SHA-256 over the record's canonical text."""
        return digest_of(self)

    def of(self, identity: Identity) -> bool:
        """Whether this is the proof of a controller as it is now."""
        mine = (self.serial_number, self.firmware, self.board)
        return mine == _marks(identity)

    def with_row(self, name: str, finding: Finding, at: str, person: str) -> Proof:
        """Return the proof with one row more, or that row anew."""
        row = ProvenRow(**finding._asdict(), at=at, person=person)
        return self.model_copy(update={"rows": {**self.rows, name: row}})

    def missing(self, now: str) -> list[str]:
        """Return the names of rows that are not proven, or not within `VALID_DAYS` of `now`."""
        rows = self.rows
        return [
            name
            for name in wanted_rows(self.stations)
            if name not in rows or not rows[name].ok or _days(rows[name].at, now) > VALID_DAYS
        ]


def fresh(bench: str, virtual: bool, identity: Identity, stations: tuple[int, ...]) -> Proof:
    """Return a proof with nothing proven yet."""
    serial_number, firmware, board = _marks(identity)
    return Proof(
        bench=bench, virtual=virtual, serial_number=serial_number,
        firmware=firmware, board=board, stations=stations,
    )  # fmt: skip


def proof_path(bench_file: Path) -> Path:
    """Return where a bench file's proof is kept: beside it."""
    return bench_file.with_suffix(".proof.json")


def save_proof(path: Path, proof: Proof) -> None:
    """Write a proof; raises InputError when it cannot be."""
    save_sealed(path, proof)


def load_proof(path: Path) -> Proof | None:
    """Return a bench's proof, None where there is none; raises RecordError for a changed one."""
    return load_sealed(path, Proof, "prove the bench again")


def _marks(identity: Identity) -> tuple[int, int, int]:
    return identity.serial_number, identity.firmware, identity.board


def _days(then: str, now: str) -> float:
    passed = datetime.fromisoformat(now) - datetime.fromisoformat(then)
    return passed.total_seconds() / 86400
