"""Starts a night as a process of its own: it goes on whatever becomes of the pages."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import threading
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, NamedTuple

from pydantic import ValidationError

from proofbath.bench.after_trip import ENDED_EARLY
from proofbath.bench.connect import bench_holder, control_path
from proofbath.bench.control_socket import command
from proofbath.bench.description import BenchFile
from proofbath.description import Described
from proofbath.errors import BenchFaultError, InputError, ProofbathError
from proofbath.run.plan import NightPlan
from proofbath.wire.table import TripReason
from proofbath.wire.trip_words import TRIP_WORDS
from proofbath.workshop.planning import plan_text
from proofbath.workshop.shop import Shop
from proofbath.workshop.start_verdict import read_verdict

PLAN, SAID, TOLD = "plan.toml", "night-output.txt", "night-errors.txt"
START, VERDICT = "start.json", "verdict.json"
"""Files of a night's folder: what was ordered, and what its process said came of the start."""
LOOK_S = 0.1
"""Between two looks for a verdict."""
PATIENCE_S = 10.0
LOOK_BACK = 50
"""Newest folders of nights that are looked through for a bench's last start."""
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


class StartNote(Described):
    """A start as it is kept in its folder, so that pages that were started again know of it."""

    bench: str
    at: str
    by: str
    attended: bool
    loaded: str
    pid: int


class Launched(NamedTuple):
    """How a start stands: going on, done with a run that began, or failed before heat."""

    state: Literal["going", "done", "failed"]
    at: str
    folder: Path
    lines: tuple[str, ...] = ()
    """Why it came to nothing."""
    trip: str | None = None
    """The latched trip that stands in the way, where that is why."""
    begun: bool = False
    """Whether its process has said that the run has begun."""
    attended: bool = False
    loaded: str = ""


@dataclass
class _Start:
    note: StartNote
    folder: Path
    process: subprocess.Popen[bytes] | None = None
    """None for a start of an earlier life of these pages."""


class Launcher:
    """Remembers the last start on each bench; they outlive it, and it reads them again."""

    def __init__(self, shop: Shop, verb: Sequence[str] = NIGHT) -> None:
        self.patience_s = PATIENCE_S
        """How long is waited for what comes of a start."""
        self._shop = shop
        self._verb = [*verb]
        self._starts: dict[str, _Start | None] = {}
        self._lock = threading.Lock()

    def start(self, order: NightOrder, at: str) -> Path:
        """Start a night at a time (ISO 8601 UTC) and return the folder of its files.

        Raises InputError while the last start on the bench still goes on; a process that only
        watches its bench behind its run makes way.
        """
        with self._lock:
            before = self._last(order.bench)
            under_way = before is not None and self._exit(before) is None
            if under_way and not only_watches(self._shop.bench(order.bench)):
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
                "--shop", str(self._shop.path), "--by", order.by, "--yes",
                "--verdict", str(folder / VERDICT), *order.options(),
            ]  # fmt: skip
            process = _detached(command, self._shop.folder, folder)
            note = StartNote(
                bench=order.bench,
                at=at,
                by=order.by,
                attended=order.attended,
                loaded=order.loaded,
                pid=process.pid,
            )
            (folder / START).write_text(note.model_dump_json(), encoding="utf-8")
            self._starts[order.bench] = _Start(note, folder, process)
            return folder

    def verdict(self, bench: str) -> Launched | None:
        """Return how the last start on a bench stands, once its process has said so.

        After `patience_s` it is returned as it is then.  One that refuses has given its bench
        back when this returns, so that the next start finds it free.
        """
        with self._lock:
            start = self._last(bench)
        if start is None or start.process is None:
            return self.last(bench)
        for _ in range(round(self.patience_s / LOOK_S)):
            if read_verdict(start.folder / VERDICT) is not None:
                break
            with suppress(subprocess.TimeoutExpired):
                start.process.wait(LOOK_S)
                break
        came = self._launched(start)
        if came.state == "failed":
            with suppress(subprocess.TimeoutExpired):
                start.process.wait(self.patience_s)
        return came

    def last(self, bench: str) -> Launched | None:
        """Return how the last start on a bench stands."""
        with self._lock:
            start = self._last(bench)
        return None if start is None else self._launched(start)

    def forget(self, bench: str) -> None:
        """Say no more of a start that has ended."""
        with self._lock:
            start = self._last(bench)
            if start is not None and self._exit(start) is not None:
                (start.folder / START).unlink(missing_ok=True)
                self._starts[bench] = None

    def _launched(self, start: _Start) -> Launched:
        status, verdict = self._exit(start), read_verdict(start.folder / VERDICT)
        begun = verdict is not None and verdict.verdict == "begun"
        found = Launched("going", start.note.at, start.folder, begun=begun)
        found = found._replace(attended=start.note.attended, loaded=start.note.loaded)
        if verdict is not None and not begun:
            return found._replace(state="failed", lines=verdict.faults, trip=verdict.trip)
        if status is None or begun:  # how a run that has begun ends, its record says
            return found if status is None else found._replace(state="done")
        words = "its process ended without saying why; what it printed is kept in"
        return found._replace(state="failed", lines=(f"{words} {start.folder.name}/{TOLD}",))

    def _last(self, bench: str) -> _Start | None:
        if bench not in self._starts:
            self._starts[bench] = next(_kept(self._shop, bench), None)
        return self._starts[bench]

    def _exit(self, start: _Start) -> int | None:
        """Return how a start's process ended; None while it goes on.

        One of an earlier life goes on while it holds its bench; how it ended its verdict says.
        """
        if start.process is not None:
            return start.process.poll()
        try:
            holder = bench_holder(self._shop.bench(start.note.bench))
        except ProofbathError:
            return 1
        if holder == start.note.pid:
            return None
        verdict = read_verdict(start.folder / VERDICT)
        return 0 if verdict is not None and verdict.verdict == "begun" else 1


def only_watches(bench: BenchFile) -> bool:
    """Whether the process that holds a bench has ended its run and only watches the bath."""
    try:
        answer = json.loads(command(control_path(bench), "status"))
    except BenchFaultError:
        return False
    return answer.get("doing") in ENDED_EARLY


def reasons(came: Launched) -> tuple[str, ...]:
    """Return why a start was refused, and what to do, one line each."""
    if came.trip is None:
        return came.lines
    said = TRIP_WORDS[TripReason[came.trip.upper()]]
    (shown,) = came.lines
    return (f"{said.what[:1].upper()}{said.what[1:]} ({shown}). What to do: {said.remedy}.",)


def _kept(shop: Shop, bench: str) -> Iterator[_Start]:
    """Yield the starts on a bench that stand in the folder of nights, the newest first."""
    if not shop.nights.is_dir():
        return
    folders = sorted((f for f in shop.nights.iterdir() if f.name[:14].isdigit()), reverse=True)
    for folder in folders[:LOOK_BACK]:
        with suppress(OSError, ValidationError):
            note = StartNote.model_validate_json((folder / START).read_text(encoding="utf-8"))
            if note.bench == bench:
                yield _Start(note, folder)


def _folder(shop: Shop, batch: str, at: str) -> Path:
    """Make the folder of a night; a second one of the same second has a number of its own."""
    stamp = re.sub(r"[^0-9]", "", at)[:14]
    name = re.sub(r"[^A-Za-z0-9._-]+", "-", batch).strip(".-") or "night"
    folder = shop.nights / f"{stamp}-{name}"
    for n in range(2, 100):
        if not (folder / PLAN).exists():
            break
        folder = shop.nights / f"{stamp}-{name}-{n}"
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
