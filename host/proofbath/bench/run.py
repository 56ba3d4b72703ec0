"""A night read back from its journal once: what it was to do, its raw rows, and its events."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from numpy.typing import NDArray

from proofbath.bench.calibration import Calibration
from proofbath.bench.description import BenchFile
from proofbath.bench.night import bench_facts, plan_of
from proofbath.bench.notes import notes_in
from proofbath.run.note import Note
from proofbath.run.plan import NightPlan
from proofbath.run.profile import Profile
from proofbath.store.journal import EventLine, Journal, RunHead, RunLine


@dataclass(frozen=True)
class Run:
    """One night of a journal; what its head says is parsed once, when it is asked for."""

    line: RunLine
    rows: NDArray[Any]
    """Raw samples, of the journal's row type."""
    events: list[EventLine]

    @property
    def run_id(self) -> int:
        """Its number in the journal."""
        return self.line.run_id

    @property
    def head(self) -> RunHead:
        """What was written before its first sample."""
        return self.line.head

    @property
    def started(self) -> dt.datetime:
        """When it began, UTC."""
        return dt.datetime.fromisoformat(self.head.started)

    @property
    def began_s(self) -> float:
        """The controller's clock at its first sample, in s; 0 without any."""
        return float(self.rows["device_ms"][0]) / 1000.0 if len(self.rows) else 0.0

    @cached_property
    def plan(self) -> NightPlan:
        """What it was to do; raises RecordError for a heating test."""
        return plan_of(self.line)

    @cached_property
    def profile(self) -> Profile:
        """Its steps as they were made for its bench; raises RecordError for a heating test."""
        return self.plan.steps(bench_facts(self.bench).place)

    @cached_property
    def bench(self) -> BenchFile:
        """The bench as it was described then."""
        return BenchFile.model_validate_json(self.head.bench_text)

    @cached_property
    def calibration(self) -> Calibration:
        """The calibration in force then."""
        return Calibration.model_validate_json(self.head.calibration_text)

    @cached_property
    def notes(self) -> list[Note]:
        """The sequencer's notes among its events, in order."""
        return notes_in(self.events)


def read_run(journal: Journal, run_id: int) -> Run:
    """Return a run of a journal, read whole; raises RecordError when there is none."""
    return Run(journal.run(run_id), journal.samples(run_id), journal.events(run_id))
