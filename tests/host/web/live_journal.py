"""A run written into a journal chunk by chunk, and a clock, for the tests of what is shown."""

from __future__ import annotations

import json
from pathlib import Path

from host.bench.nights import BENCH, PLAN, bench_file, plan
from host.bench.samples import sample
from proofbath.bench.night import CYCLES
from proofbath.bench.notes import note_text
from proofbath.errors import RecordError
from proofbath.run.note import Note
from proofbath.store.journal import Journal, RunHead
from proofbath.web.live_chunks import ChunkReader, Look
from proofbath.web.live_source import LiveSource
from proofbath.wire.table import State


class LiveJournal:
    """A bench "quay" whose process is this test; `answer` is what it says of itself."""

    def __init__(self, path: Path) -> None:
        self.now_s = 1000.0
        self.answer: str | None = None
        self.journal = Journal(path)
        self.reader = CountingReader(path)
        self.source = LiveSource(self.reader, "quay", lambda: self.answer, self.wall_s)
        self._sequence = 0

    def wall_s(self) -> float:
        return self.now_s

    def begin(self, started: str = "2026-03-01T18:00:00+00:00") -> None:
        """Open a run whose first step has begun."""
        self._sequence = 0
        described = bench_file(BENCH)
        head = RunHead(
            started,
            "quay",
            plan(PLAN).model_dump_json(),
            described.model_dump_json(),
            described.calibration.model_dump_json(),
            json.dumps({}),
        )
        self.writer = self.journal.begin(head)
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
