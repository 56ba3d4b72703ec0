"""One process a bench: locks that end with their process, in the user's runtime folder."""

from __future__ import annotations

import hashlib
import os
import re
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from time import sleep

from proofbath.errors import BenchFaultError

if sys.platform != "win32":
    import fcntl

LONGEST_NAME = 60
LOCKS = Path("/proc/locks")


LOOK_EVERY_S = 0.1


def runtime_folder() -> Path:
    """Return the folder of locks and control sockets, made for its owner alone."""
    base = os.environ.get("XDG_RUNTIME_DIR")
    owner = os.getuid() if hasattr(os, "getuid") else "user"
    folder = Path(base) / "proofbath" if base else Path(tempfile.gettempdir(), f"proofbath-{owner}")
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        if hasattr(os, "getuid") and folder.stat().st_uid != owner:
            raise BenchFaultError(f"{folder}: belongs to another user; remove it")
    except OSError as error:
        raise BenchFaultError(f"{folder}: cannot be used: {error.strerror}") from error
    return folder


def file_name(key: str) -> str:
    """Return a file name that stands for a bench's key.

    Of a key that names a file only the first word stays, with a digest that keeps it apart from
    others: a socket's whole path has room for a hundred characters.
    """
    name = re.sub(r"[^A-Za-z0-9]+", "-", key).strip("-")
    word, _, path = key.partition(" ")
    if len(name) <= LONGEST_NAME and not path.startswith("/"):
        return name
    digest = hashlib.sha256(key.encode()).hexdigest()[:8]
    return f"{word if path.startswith('/') else name[-LONGEST_NAME // 2 :].strip('-')}-{digest}"


def lock_holder(key: str, folder: Path) -> int | None:
    """Return the number of the process that holds the lock of `key`, None where none is seen.

    It is read from the kernel's list: trying the lock would refuse whoever starts just then.
    Only systems with /proc/locks tell.
    """
    try:
        path = folder / f"{file_name(key)}.lock"
        inode = path.stat().st_ino
        lines = LOCKS.read_text().splitlines()
    except OSError:
        return None
    for line in lines:
        _number, kind, *rest = line.split()
        if kind == "FLOCK" and rest[3].rpartition(":")[2] == str(inode):
            return int(rest[2])
    return None


class BenchLock:
    """Held until `close` or the end of the process, however it ends."""

    def __init__(
        self,
        key: str,
        folder: Path,
        looks: int = 1,
        wait: Callable[[float], None] = sleep,
    ) -> None:
        """Take the lock of `key`; raises BenchFaultError when another process holds it.

        More `looks` than one are for a holder who was asked to leave, 0.1 s apart.
        """
        path = folder / f"{file_name(key)}.lock"
        self._file = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
        while not self._taken() and (looks := looks - 1) > 0:
            wait(LOOK_EVERY_S)
        if not looks:
            holder = os.read(self._file, 20).decode(errors="replace").strip() or "unknown"
            os.close(self._file)
            raise BenchFaultError(
                f"bench {key}: in use by process {holder}; stop that run or wait for its end"
            )
        os.ftruncate(self._file, 0)
        os.write(self._file, f"{os.getpid()}\n".encode())

    def _taken(self) -> bool:
        try:
            if sys.platform != "win32":
                fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            return False
        return True

    def close(self) -> None:
        """Give the lock back; its file stays, as removing it would race with the next process."""
        os.close(self._file)
