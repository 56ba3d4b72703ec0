"""Files that appear whole or not at all, and never take the place of an existing one."""

from __future__ import annotations

import contextlib
import os
import secrets
import sys
from collections.abc import Iterator
from pathlib import Path

from proofbath.errors import InputError

if sys.platform != "win32":
    import fcntl

PART = ".part"
LOCK = ".lock"


def write_new(path: Path, data: bytes, mode: int = 0o644) -> None:
    """Write a new file durably: after a power cut it is whole or absent.

    Raises InputError where the file exists already or the folder cannot be written.
    """
    part = path.with_name(f".{path.name}.{secrets.token_hex(4)}{PART}")
    try:
        _write_through(part, data, mode)
        os.link(part, path)
    except FileExistsError as error:
        raise InputError(
            f"{path}: exists already and is never overwritten; take another"
        ) from error
    except OSError as error:
        raise InputError(f"{path}: cannot be written: {error.strerror}") from error
    finally:
        with contextlib.suppress(OSError):
            part.unlink()
    _sync_folder(path.parent)


def write_over(path: Path, data: bytes, mode: int = 0o644) -> None:
    """Write a file durably in place of an earlier one; only for what can be made again."""
    part = path.with_name(f".{path.name}.{secrets.token_hex(4)}{PART}")
    try:
        _write_through(part, data, mode)
        part.replace(path)
    except OSError as error:
        raise InputError(f"{path}: cannot be written: {error.strerror}") from error
    finally:
        part.unlink(missing_ok=True)
    _sync_folder(path.parent)


def move_new(old: Path, path: Path) -> None:
    """Move a whole file to a new name durably; raises InputError where that exists already."""
    try:
        os.link(old, path)
    except FileExistsError as error:
        raise InputError(f"{path}: exists already and is never overwritten") from error
    _sync_folder(path.parent)
    old.unlink()


@contextlib.contextmanager
def only_writer(folder: Path) -> Iterator[None]:
    """Keep every other process and thread from issuing into a folder; they wait for their turn."""
    folder.mkdir(parents=True, exist_ok=True)
    lock = os.open(folder / LOCK, os.O_RDWR | os.O_CREAT, 0o600)
    try:
        if sys.platform != "win32":
            fcntl.flock(lock, fcntl.LOCK_EX)
        yield
    finally:
        os.close(lock)


def remove_parts(folder: Path) -> int:
    """Remove what interrupted writes left behind in a folder; returns how many."""
    parts = list(folder.glob(f".*{PART}"))
    for part in parts:
        part.unlink(missing_ok=True)
    return len(parts)


def _write_through(part: Path, data: bytes, mode: int) -> None:
    descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
    with os.fdopen(descriptor, "wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())


def _sync_folder(folder: Path) -> None:
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
