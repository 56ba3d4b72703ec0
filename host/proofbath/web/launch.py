"""Starts a night as a process of its own: it goes on whatever becomes of the pages."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import threading
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, NamedTuple

from proofbath.errors import InputError
from proofbath.run.plan import NightPlan
from proofbath.workshop.planning import plan_text
from proofbath.workshop.shop import Shop

PLAN, SAID, TOLD = "plan.toml", "night-output.txt", "night-errors.txt"
LINES_SHOWN = 12
NIGHT = (sys.executable, "-m", "proofbath", "night")


class NightOrder(NamedTuple):
    """What is to be started, by whom, and what that person said before heat."""

    plan: NightPlan
    bench: str
    by: str
    clear_trip: bool = False
    attended: bool = False
    loaded: str = ""
    """Why, or by whom, it was loaded without the guided loading."""

    def options(self) -> list[str]:
        """Return the options of the verb that say so."""
        options = ["--clear-trip"] if self.clear_trip else []
        options += ["--attended"] if self.attended else []
        return options + ([f"--loaded-as-planned={self.loaded}"] if self.loaded else [])


class Launched(NamedTuple):
    """How a start stands; `lines` are what the process said of its end."""

    state: Literal["going", "done", "failed"]
    at: str
    folder: Path
    lines: tuple[str, ...] = ()


@dataclass
class _Start:
    process: subprocess.Popen[bytes]
    at: str
    folder: Path


class Launcher:
    """Remembers the last start on each bench; they outlive it."""

    def __init__(self, shop: Shop, verb: Sequence[str] = NIGHT) -> None:
        self._shop = shop
        self._verb = [*verb]
        self._starts: dict[str, _Start] = {}
        self._lock = threading.Lock()

    def start(self, order: NightOrder, at: str) -> Path:
        """Start a night at a time (ISO 8601 UTC) and return the folder of its files.

        Raises InputError while the last start on the bench still goes on.
        """
        with self._lock:
            before = self._starts.get(order.bench)
            if before is not None and before.process.poll() is None:
                raise InputError(
                    f"bench {order.bench}: a night is under way, or its results are still being"
                    " kept; stop it first, or wait a moment"
                )
            bench_file = self._shop.bench_files()[order.bench]
            folder = _folder(self._shop, order.plan.batch, at)
            plan_file = folder / PLAN
            plan_file.write_text(plan_text(order.plan), encoding="utf-8")
            command = [
                *self._verb, str(plan_file), "--bench", str(bench_file),
                "--shop", str(self._shop.path), "--by", order.by, "--yes", *order.options(),
            ]  # fmt: skip
            process = _detached(command, self._shop.folder, folder)
            self._starts[order.bench] = _Start(process, at, folder)
            return folder

    def last(self, bench: str) -> Launched | None:
        """Return how the last start on a bench stands."""
        with self._lock:
            start = self._starts.get(bench)
            status = None if start is None else start.process.poll()
        if start is None:
            return None
        if status is None:
            return Launched("going", start.at, start.folder)
        state: Literal["done", "failed"] = "failed" if status else "done"
        return Launched(state, start.at, start.folder, last_lines(start.folder / TOLD))

    def forget(self, bench: str) -> None:
        """Say no more of a start that has ended."""
        with self._lock:
            start = self._starts.get(bench)
            if start is not None and start.process.poll() is not None:
                del self._starts[bench]


def last_lines(path: Path) -> tuple[str, ...]:
    """Return the last lines a process wrote; none where there are none."""
    try:
        text = path.read_text(encoding="utf-8", errors="replace")
    except OSError:
        return ()
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    return tuple(lines[-LINES_SHOWN:])


def _folder(shop: Shop, batch: str, at: str) -> Path:
    stamp = re.sub(r"[^0-9]", "", at)[:14]
    name = re.sub(r"[^A-Za-z0-9._-]+", "-", batch).strip(".-") or "night"
    folder = shop.nights / f"{stamp}-{name}"
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"{folder}: cannot be made: {error.strerror}") from error
    return folder


def _detached(command: list[str], cwd: Path, folder: Path) -> subprocess.Popen[bytes]:
    """Start in a session of its own, so that no signal meant for the pages reaches it."""
    with (folder / SAID).open("wb") as said, (folder / TOLD).open("wb") as told:
        return subprocess.Popen(
            command,
            cwd=cwd,
            env=os.environ | {"COLUMNS": "200", "NO_COLOR": "1"},
            stdin=subprocess.DEVNULL,
            stdout=said,
            stderr=told,
            start_new_session=True,
        )
