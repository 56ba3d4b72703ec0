"""A bench's journal as its process writes it, for those who read what is committed."""

from __future__ import annotations

import json
from pathlib import Path

from host.bench.nights import BENCH, PLAN, bench_file
from host.bench.samples import sample
from proofbath.bench.calibration import Calibration
from proofbath.bench.notes import note_text
from proofbath.description import parse_toml
from proofbath.run.note import Note
from proofbath.run.plan import NightPlan
from proofbath.store.journal import Journal, RunHead, RunWriter
from proofbath.wire.table import State

SUM_AT_100_C = round(138.5055 / 400 * 131072)
"""100 ohm (1 + 3.9083e-3 * 100 - 5.775e-7 * 100²) at 100 °C (IEC 60751); 400 ohm make 131072."""
CONTROLLER = {"stations": 6, "serial_number": 41, "board": 1}


def head(bench: str = "quay", started: str = "2026-03-01T18:00:00+00:00") -> RunHead:
    """Return the head of a night under the nominal calibration."""
    return RunHead(
        started,
        bench,
        parse_toml(PLAN, NightPlan, "plan").model_dump_json(),
        bench_file().model_dump_json(),
        Calibration().model_dump_json(),
        json.dumps(CONTROLLER),
    )


class Night:
    """A run that is written second by second."""

    def __init__(self, journal: Journal, bench: str = "quay", per_s: int = 10) -> None:
        self.writer: RunWriter = journal.begin(head(bench))
        self.second = 0
        self._per_s = per_s
        self._steps = 0

    def write_second(self, step: str = "", **changed: int) -> None:
        """Commit a second's samples, all at 100.00 °C, and where it is named a step's begin."""
        for n in range(self._per_s):
            tick = self.second * self._per_s + n
            row = {
                "sequence": tick,
                "demand_sequence": max(tick - 1, 0),
                "device_ms": 1000 * self.second + n * 1000 // self._per_s,
                "state": State.LIVE,
                "bath_sum": SUM_AT_100_C,
                "guard_sum": SUM_AT_100_C,
            }
            self.writer.append(sample(**{**row, **changed}))
        if step:
            note = Note(float(self.second), "step_begin", step, leg=self._steps, bath_c=100.0)
            self.writer.note(float(self.second), "step_begin", note_text(note))
            self._steps += 1
        self.writer.commit()
        self.second += 1

    def end(self, status: str = "done", reason: str = "profile complete") -> None:
        """Close the run."""
        self.writer.close(float(self.second), status, reason)


def write_shop(folder: Path, more: str = "") -> Path:
    """Write a workshop's file with the one bench quay, and return it."""
    (folder / "quay.toml").write_text(BENCH)
    path = folder / "workshop.toml"
    path.write_text(WORKSHOP + more)
    return path


WORKSHOP = """
[workshop]
name = "Ferry works"
address = ["Quay 4"]
contact = "bench@ferry.example"

[[bench]]
file = "quay.toml"
"""
