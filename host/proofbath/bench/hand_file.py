"""The two files of a hand measurement: readings, only ever added to, and what they rest on.

Each reading is on the disk before the next is asked for: a kill or a power cut loses none.
"""

from __future__ import annotations

import json
import os
from datetime import datetime
from pathlib import Path
from typing import Any, Self

from pydantic import ValidationError

from proofbath.curve.hand_instruments import HandSetup
from proofbath.curve.hand_record import (
    HandPoint,
    header,
    read_typed,
    reading_row,
    taken_back_row,
)
from proofbath.description import Described
from proofbath.errors import InputError, RecordError
from proofbath.files import read_text


class HandNotes(Described):
    """What is kept beside the readings; `result` is there once the measurement has ended."""

    began: str
    """UTC, ISO 8601; readings count their seconds from it."""
    serial: str = ""
    setup: HandSetup
    result: dict[str, Any] | None = None


def notes_path(path: Path) -> Path:
    """Return where the notes of a file of readings are; raises InputError if it is no .csv."""
    if path.suffix != ".csv":
        raise InputError(f"{path}: the file of the readings must end in .csv; name it so")
    return path.with_suffix(".json")


def load_notes(path: Path) -> HandNotes | None:
    """Return the notes beside a file of readings, None where there are none."""
    beside = notes_path(path)
    if not beside.exists():
        return None
    try:
        return HandNotes.model_validate(json.loads(read_text(beside)))
    except (ValueError, ValidationError) as error:
        raise RecordError(f"{beside}: is damaged; move it away and give the options") from error


def save_notes(path: Path, notes: HandNotes) -> None:
    """Put the notes beside a file of readings, whole or not at all; raises InputError."""
    beside = notes_path(path)
    part = beside.with_name(f".{beside.name}.part")
    text = json.dumps(notes.model_dump(mode="json"), indent=2, ensure_ascii=False) + "\n"
    try:
        descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o644)
        with os.fdopen(descriptor, "w", encoding="utf-8") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        os.replace(part, beside)
    except OSError as error:
        raise InputError(f"{beside}: cannot be written: {error.strerror}") from error


def check_new(path: Path) -> None:
    """Raise InputError where readings cannot be begun at a path."""
    if path.exists() or notes_path(path).exists():
        raise InputError(f"{path}: exists already; go on with it by --go-on, or name another")
    if not path.parent.is_dir():
        raise InputError(f"{path.parent}: no such folder; make it, or name another")


class HandFile:
    """A file of readings, open for more of them."""

    def __init__(self, path: Path, notes: HandNotes, typed: list[HandPoint | None]) -> None:
        self.path = path
        self.notes = notes
        self._typed = typed
        self._heated = notes.setup.heater is not None

    @classmethod
    def begin(cls, path: Path, notes: HandNotes) -> Self:
        """Make both files; raises InputError where there is one already."""
        check_new(path)
        save_notes(path, notes)
        file = cls(path, notes, [])
        file._append(header(notes.setup.heater is not None))
        return file

    @classmethod
    def go_on(cls, path: Path) -> Self:
        """Open a file that was begun; raises InputError where it was not, or has ended."""
        notes = load_notes(path)
        if notes is None or not path.exists():
            raise InputError(f"{path}: was not begun here; leave --go-on out")
        if notes.result is not None:
            raise InputError(f"{path}: has ended; begin another file")
        _drop_torn_row(path)
        return cls(path, notes, read_typed(read_text(path), str(path)))

    @property
    def points(self) -> list[HandPoint]:
        """The readings that stand."""
        return [point for point in self._typed if point is not None]

    def add(self, point: HandPoint) -> None:
        """Keep a reading as its row says it; it is on the disk when this returns."""
        row = reading_row(point, self._heated)
        self._append(row)
        self._typed += read_typed(header(self._heated) + row, str(self.path))

    def take_back(self, t_s: float) -> HandPoint | None:
        """Take the last reading back and return it, None where there is none left."""
        standing = [i for i, point in enumerate(self._typed) if point is not None]
        if not standing:
            return None
        self._append(taken_back_row(t_s, standing[-1] + 1, self._heated))
        taken, self._typed[standing[-1]] = self._typed[standing[-1]], None
        return taken

    def passed_s(self, now: str) -> float:
        """Return the seconds from the beginning to a UTC time."""
        passed = datetime.fromisoformat(now) - datetime.fromisoformat(self.notes.began)
        last_s = self.points[-1].t_s if self.points else 0.0
        return max(passed.total_seconds(), last_s)

    def set_up(self, setup: HandSetup) -> None:
        """Put what the readings rest on into the notes, where it is now known better."""
        if setup != self.notes.setup:
            self.notes = self.notes.model_copy(update={"setup": setup})
            save_notes(self.path, self.notes)

    def end(self, result: dict[str, Any]) -> None:
        """Put the result into the notes."""
        self.notes = self.notes.model_copy(update={"result": result})
        save_notes(self.path, self.notes)

    def _append(self, row: str) -> None:
        try:
            flags = os.O_WRONLY | os.O_CREAT | os.O_APPEND
            descriptor = os.open(self.path, flags, 0o644)
            with os.fdopen(descriptor, "wb") as file:
                file.write(row.encode())
                file.flush()
                os.fsync(file.fileno())
        except OSError as error:
            raise InputError(f"{self.path}: cannot be written: {error.strerror}") from error


def _drop_torn_row(path: Path) -> None:
    """Cut off a last row that a power cut left half written: it was never taken as kept."""
    data = path.read_bytes()
    whole = data.rfind(b"\n") + 1
    if whole < len(data):
        os.truncate(path, whole)
