"""Which numbers may be shown as present: the one rule of pages, API and broker.

A number is present only where it is younger than `PRESENT_S` AND of the run that holds the
controller.  Anything else is a dash, with the last number and its age beside it.

*Age* is life's time since the sample was taken: what passes for whoever stands before the page.
The controller's clock says nothing of it on a bench that runs faster than life, so it is never
compared with a calendar as it is.  Three things bound an age from above, and the least of them
counts:

1. The process that holds the bench says how old its newest reading is.
2. A sample that was not in the journal at the last look is no older than that look.
3. By the calendar it was taken when the run began and so long after as the controller's clock
   ran since, divided by how much faster than life the bench runs.

The third needs no witness, so it gives an age but makes no number present: calendars are set,
and the controller's clock drifts.  A bench that runs `speed` times faster than life moves on by
`speed` times the age meanwhile; pages say how fast it runs.

*The run that holds the controller* is the one that the bench's process names.  Where no process
answers (it runs on another computer, or ended a moment ago) it is the open run whose samples
arrive: a bench is locked for one process, and only that one writes them.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from typing import Any, NamedTuple

from proofbath.bench.connect import simulated
from proofbath.bench.description import BenchFile
from proofbath.run.doing import Doing

PRESENT_S = 3.0
"""Chunks are committed once a second of life's time; a number older than this is of the past."""
Answer = Mapping[str, Any]
"""What the process of a bench says of itself: `Status.text` as read."""


class Process(NamedTuple):
    """What holds a bench on this computer: its answer, empty before its first reading."""

    answer: Answer
    asked_s: float
    """When it was asked, by a clock that never jumps."""
    pid: int | None = None
    """Number of a process that holds the bench and does not answer."""

    @property
    def tells(self) -> bool:
        """Whether it has told a reading."""
        return "age_s" in self.answer

    def age_s(self, now_s: float) -> float:
        """Return how old its newest reading is; infinite where it told none."""
        if not self.tells:
            return math.inf
        return float(self.answer["age_s"]) + max(0.0, now_s - self.asked_s)

    def carries(self, run_id: int | None, records: str) -> bool:
        """Whether it carries a run of some records."""
        return self.tells and self.answer["run"] == run_id and self.answer["records"] == records

    @property
    def paused(self) -> bool:
        """Whether its run is paused."""
        return self.answer.get("doing") == Doing.PAUSED.value

    def alarm(self) -> str:
        """Return what it warns of beyond its run, such as heat that goes on; empty for nothing."""
        return str(self.answer.get("alarm") or "")


class Sampled(NamedTuple):
    """When a run's newest sample was taken, as far as is known."""

    began: str
    """When the run began, ISO 8601."""
    passed_s: float
    """The controller's clock since its first sample."""
    speed: float
    """How many times faster than life its bench runs; infinite where nothing slows it."""
    not_before_s: float | None = None
    """A look, by a clock that never jumps, at which it was not there yet."""

    def by_clock_s(self, now_s: float) -> float:
        """Return how old it can be by the looks; infinite where it was there at the first one."""
        return math.inf if self.not_before_s is None else max(0.0, now_s - self.not_before_s)

    def by_calendar_s(self, at: str) -> float:
        """Return how old it can be at a time, ISO 8601, by the calendar."""
        began, now = dt.datetime.fromisoformat(self.began), dt.datetime.fromisoformat(at)
        return max(0.0, (now - began).total_seconds() - self.passed_s / self.speed)


class Seen(NamedTuple):
    """A bench's newest sample: its age, and whether it may be shown as present."""

    age_s: float
    present: bool
    good_for_s: float
    """How long it may go on being shown as present."""


UNSEEN = Seen(math.inf, False, 0.0)


def seen(age_s: float, holds: bool) -> Seen:
    """Return how a number of an age, in s of life, is to be shown."""
    left_s = PRESENT_S - age_s if holds else 0.0
    return Seen(age_s, left_s > 0.0, max(0.0, left_s))


def seen_in_run(
    sampled: Sampled,
    open_run: bool,
    process: Process | None,
    *,
    ours: bool,
    t_s: float,
    now_s: float,
    at: str,
) -> Seen:
    """Return how a run's newest sample, taken at `t_s` of its clock, is to be shown.

    `ours` says that the process carries this run, `now_s` and `at` are now by both clocks.
    """
    age_s = sampled.by_clock_s(now_s)
    if process is not None and ours and t_s >= process.answer["t_s"]:
        age_s = min(age_s, process.age_s(now_s))
    another = process is not None and process.tells and not ours
    shown = seen(age_s, open_run and not another)
    return shown._replace(age_s=min(age_s, sampled.by_calendar_s(at)))


def seen_by_process(process: Process | None, now_s: float) -> Seen:
    """Return how the newest reading of the process that holds a bench is to be shown."""
    return UNSEEN if process is None else seen(process.age_s(now_s), process.tells)


def speed_of(bench: BenchFile) -> float:
    """Return how many times faster than life a bench runs; infinite where nothing slows it."""
    if not simulated(bench):
        return 1.0
    speed = bench.virtual.speed if bench.virtual else None
    return math.inf if speed is None else speed
