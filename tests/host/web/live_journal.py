"""A run written into a journal chunk by chunk, and a clock, for the tests of what is shown."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from host.bench.nights import BENCH, PLAN, bench_file, plan
from host.bench.samples import sample
from proofbath.bench.night import CYCLES
from proofbath.bench.notes import note_text
from proofbath.errors import RecordError
from proofbath.run.note import Note
from proofbath.store.journal import Journal, RunHead
from proofbath.web.live_chunks import ChunkReader, Look
from proofbath.web.live_source import LiveSource
from proofbath.web.present import Process
from proofbath.wire.table import State

BEGAN = datetime(2026, 3, 1, 18, tzinfo=UTC)
SPEEDY = BENCH + "speed = 60\n"


class LiveJournal:
    """A bench "quay" whose process is this test; `answer` is what it says of itself."""

    def __init__(self, path: Path) -> None:
        self.now_s = 1000.0
        self.answer: dict[str, Any] | None = None
        self.pid: int | None = None
        """A process that holds the bench and does not answer."""
        self.journal = Journal(path)
        self.reader = CountingReader(path)
        self.source = LiveSource(self.reader, "quay", self._ask, self.wall_s, utc=self.utc)
        self.run_id = 0
        self._sequence = 0

    def _ask(self) -> Process | None:
        if self.answer is None:
            return None if self.pid is None else Process({}, self.now_s, self.pid)
        return Process(self.answer, self.now_s)

    def utc(self) -> str:
        """Return the time: the runs of these tests begin at second 1000."""
        return (BEGAN + timedelta(seconds=self.now_s - 1000.0)).isoformat()

    def says(self, **changed: Any) -> None:
        """Let the process of the bench say of itself what one of its run does."""
        self.answer = {
            "run": self.run_id,
            "records": self.reader.key,
            "doing": "heating",
            "phase": "soaking",
            "age_s": 0.0,
            "t_s": self._sequence / 10,
            "bath_c": 25.0,
            "left_s": 600.0,
            "fraction": 0.1,
            "step": "soaking first",
            "paused_s": 0.0,
            "pause_limit_s": 3600.0,
            **changed,
        }

    def wall_s(self) -> float:
        return self.now_s

    def begin(self, started: str = BEGAN.isoformat(), bench: str = BENCH) -> None:
        """Open a run whose first step has begun."""
        self._sequence = 0
        described = bench_file(bench)
        head = RunHead(
            started,
            "quay",
            plan(PLAN).model_dump_json(),
            described.model_dump_json(),
            described.calibration.model_dump_json(),
            json.dumps({}),
        )
        self.writer = self.journal.begin(head)
        self.run_id = self.writer.run_id
        self.writer.note(0.0, CYCLES, "[0]")
        note = Note(0.0, "step_begin", "soaking first", leg=0)
        self.writer.note(0.0, note.code, note_text(note))

    def commit(self, count: int = 10, **changed: object) -> None:
        """Commit a second of samples."""
        for _ in range(count):
            self._sequence += 1
            at = {"sequence": self._sequence, "device_ms": 100 * self._sequence}
            self.writer.append(sample(**{"state": State.LIVE, **at, **changed}))
        self.writer.commit()

    def close(self) -> None:
        self.reader.close()
        self.journal.close()


class CountingReader(ChunkReader):
    """Counts how often it is asked; fails as a disk does while it is `broken`."""

    looks = 0
    broken = False

    def look(self, bench: str, run_id: int | None, after: int) -> Look:
        self.looks += 1
        if self.broken:
            raise RecordError("records: disk is full of eels")
        return super().look(bench, run_id, after)
