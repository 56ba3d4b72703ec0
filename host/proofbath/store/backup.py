"""Backup, restore and proof of a whole database: records and journal together."""

from __future__ import annotations

import hashlib
import os
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import NamedTuple

from proofbath.errors import InputError, RecordError
from proofbath.store.chain import Link
from proofbath.store.journal import Journal
from proofbath.store.kinds import StationRun
from proofbath.store.records import Records
from proofbath.store.tables import Place, shown, url_of


class Proven(NamedTuple):
    """What a database was found to hold, unchanged; `head` is the last link of its records."""

    records: int
    runs: int
    chunks: int
    head: Link


def prove(place: Place, known: Link | None = None) -> Proven:
    """Check file, records and journal whole, and a `known` link; raises RecordError."""
    if isinstance(place, Path):
        _check_file(place)
    with closing(Records(place)) as records, closing(Journal(place)) as journal:
        found = records.verify(known)
        runs = journal.runs()
        chunks = sum(journal.verify_chain(run.run_id) for run in runs)
        for kept in records.current(StationRun):
            if kept.entry.run_digest not in journal.digests(kept.entry.run_id):
                raise RecordError(
                    f"{shown(place)}: run {kept.entry.run_id} is not the one that station"
                    f" {kept.entry.station}'s results rest on; use a backup"
                )
    return Proven(found.records, len(runs), chunks, found.head)


def backup(place: Place, target: Path) -> Proven:
    """Copy a SQLite database to a new file while it is in use, proven, its digest beside it.

    Raises InputError when the target exists or the place is a server's, RecordError when the
    copy is not whole; nothing is left behind then.
    """
    source = _sqlite_file(place)
    return _copy(source, target, beside=True)


def restore(copy: Path, target: Path) -> Proven:
    """Bring a backup back as a new file, its digest and chains checked; never overwrites."""
    if not copy.is_file():
        raise InputError(f"{copy}: no such file")
    note = _note(copy)
    if not note.is_file():
        raise InputError(f"{note}: is missing; a backup has its digest beside it")
    if note.read_text().split(maxsplit=1)[:1] != [_digest(copy)]:
        raise RecordError(f"{copy}: differs from its digest in {note.name}; use another backup")
    return _copy(copy, target, beside=False)


def _copy(source: Path, target: Path, beside: bool) -> Proven:
    if target.exists():
        raise InputError(f"{target}: exists already; name a new file")
    part = target.with_name(target.name + ".part")
    try:
        part.unlink(missing_ok=True)
        _copy_pages(source, part)
        found = prove(part)
        _settle(part)
        if beside:
            _note(target).write_text(f"{_digest(part)}  {target.name}\n")
            _sync(_note(target))
        os.replace(part, target)  # whole or not at all; the digest beside it is there already
        _sync(target.parent)
    except (OSError, sqlite3.Error) as error:
        raise RecordError(f"{target}: cannot be written: {error}") from error
    finally:
        for left in target.parent.glob(part.name + "*"):
            left.unlink()
        if beside and not target.exists():
            _note(target).unlink(missing_ok=True)
    return found


def _copy_pages(source: Path, part: Path) -> None:
    uri = f"{source.resolve().as_uri()}?mode=ro"
    with closing(sqlite3.connect(uri, uri=True)) as old, closing(sqlite3.connect(part)) as new:
        old.backup(new)


def _settle(part: Path) -> None:
    """Make it one file that needs no other beside it."""
    with closing(sqlite3.connect(part)) as raw:
        raw.execute("PRAGMA journal_mode = DELETE")
    _sync(part)


def _check_file(path: Path) -> None:
    if not path.is_file():
        raise InputError(f"{path}: no such file")
    try:
        with closing(sqlite3.connect(path)) as raw:
            said = raw.execute("PRAGMA integrity_check").fetchone()[0]
    except sqlite3.DatabaseError as error:
        raise RecordError(f"{path}: is damaged ({error}); use a backup") from error
    if said != "ok":
        raise RecordError(f"{path}: is damaged ({said.splitlines()[0]}); use a backup")


def _sqlite_file(place: Place) -> Path:
    url = url_of(place)
    if url.get_backend_name() != "sqlite" or not url.database:
        raise InputError(
            f"{shown(place)}: a server's database is backed up by its own pg_dump; "
            "prove the copy after it is restored"
        )
    path = Path(url.database)
    if not path.is_file():
        raise InputError(f"{path}: no such file")
    return path


def _note(path: Path) -> Path:
    return path.with_name(path.name + ".sha256")


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _sync(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
