"""How each bench stands, kept up to date from what is committed: for metrics, MQTT and pages."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pydantic import ValidationError

from proofbath.bench.calibration import Calibration
from proofbath.bench.clock import Clock, monotonic_s
from proofbath.bench.description import BenchFile
from proofbath.bench.notes import NOTE_CODES, note_in
from proofbath.bench.record import run_record
from proofbath.store.journal import OPEN, EventLine, RunHead
from proofbath.web.benches_follow import News, batch_and_stage
from proofbath.web.present import Sampled, seen, speed_of
from proofbath.wire.table import State, TripReason

LATE_TICKS = 2
"""A demand in force that answers a sample more ticks ago is late; one tick is the rule."""


@dataclass
class BenchNow:
    """One bench by its newest run, and what was counted since the program started."""

    name: str
    run_id: int | None = None
    head: RunHead | None = None
    status: str = "none"
    reason: str = ""
    step: str = ""
    controller: str | None = None
    trip: str | None = None
    t_s: float | None = None
    first_s: float | None = None
    """The controller's clock at the newest run's first sample."""
    bath_c: float | None = None
    guard_c: float | None = None
    duty: float | None = None
    not_before_s: float | None = None
    """A look at which the newest sample was not there yet; None where it was at the first."""
    batch: str | None = None
    stage: str | None = None
    samples: int = 0
    gaps: int = 0
    late_ticks: int = 0
    ends: dict[str, int] = field(default_factory=dict)
    """How many runs ended, by status."""
    _ended: set[tuple[int, str]] = field(default_factory=set)
    _calibration: Calibration | None = None
    _speed: float = math.inf

    def fresh(self, now_s: float) -> bool:
        """Whether its newest sample is present, by what is committed alone."""
        sampled = self.sampled()
        return sampled is not None and seen(sampled.by_clock_s(now_s), self.status == OPEN).present

    def sampled(self) -> Sampled | None:
        """Return when its newest sample was taken, None before the first.

        That is not known either where the controller's clock began anew.
        """
        if self.head is None or self.t_s is None or self.first_s is None:
            return None
        passed_s = self.t_s - self.first_s
        if passed_s < 0:
            return None
        return Sampled(self.head.started, passed_s, self._speed, self.not_before_s)

    def count(self, news: News) -> None:
        """Count what is new of one of its runs."""
        if news.status != OPEN and (news.run_id, news.status) not in self._ended:
            self._ended.add((news.run_id, news.status))  # closed twice is ended once
            self.ends[news.status] = self.ends.get(news.status, 0) + 1
        self.samples += len(news.rows)
        self.late_ticks += late_ticks(news.rows)
        self.gaps += sum(told.event.kind == "gap" for told in news.events)

    def take(self, news: News, not_before_s: float | None) -> None:
        """Take what is new of its newest run; older ones change nothing.

        `not_before_s` is the look before this one, None at the first.
        """
        if self.run_id is not None and news.run_id < self.run_id:
            return
        if news.run_id != self.run_id:
            self._begin(news)
        self.status, self.reason, self.first_s = news.status, news.reason, news.first_s
        for told in news.events:
            if told.event.kind == "step_begin":
                self.step = note_in(told.event).text
        if len(news.rows):
            self._show(news.rows[-1:])
            self.not_before_s = not_before_s

    def calibration(self) -> Calibration:
        """Return the calibration of the newest run."""
        if self._calibration is None:
            assert self.head is not None, "asked for before a run was seen"
            self._calibration = Calibration.model_validate_json(self.head.calibration_text)
        return self._calibration

    def _begin(self, news: News) -> None:
        self.run_id, self.head = news.run_id, news.head
        self.batch, self.stage = batch_and_stage(news.head)
        self.step, self._calibration = "", None
        self._speed = _speed(news.head)
        self.controller = self.trip = None
        self.t_s = self.first_s = self.bath_c = self.guard_c = self.duty = None
        self.not_before_s = None

    def _show(self, newest: NDArray[Any]) -> None:
        row = newest[0]
        found = run_record(newest, self.calibration())
        self.controller = State(row["state"]).name.lower()
        reason = TripReason(row["trip_reason"])
        self.trip = reason.name.lower() if reason else None
        self.t_s = float(found.t_s[0])
        self.bath_c, self.guard_c = known(found.bath_c[0], 3), known(found.guard_c[0], 3)
        self.duty = float(row["duty"]) / 1000


class Benches:
    """Every bench the records know or the workshop's file names."""

    def __init__(self, names: Iterable[str] = (), clock: Clock = monotonic_s) -> None:
        self.clock = clock
        self.now: dict[str, BenchNow] = {name: BenchNow(name) for name in names}
        self._looked_s: float | None = None

    def take(self, all_news: Iterable[News], looked_s: float | None = None) -> None:
        """Take what is new of all benches, oldest runs first; the first look is not counted.

        `looked_s` says when the look began; by default now.
        """
        before_s, self._looked_s = self._looked_s, self.clock() if looked_s is None else looked_s
        for news in all_news:
            bench = self.now.setdefault(news.head.bench, BenchNow(news.head.bench))
            bench.take(news, before_s)
            if before_s is not None:
                bench.count(news)


def _speed(head: RunHead) -> float:
    """How much faster than life a run's bench is; infinite where its file cannot be read."""
    try:
        return speed_of(BenchFile.model_validate_json(head.bench_text))
    except ValidationError:
        return math.inf


def late_ticks(rows: NDArray[Any]) -> int:
    """Return in how many samples of a live controller the demand in force was an old one."""
    live = rows[rows["state"] == State.LIVE]
    age = live["sequence"].astype(np.int64) - live["demand_sequence"].astype(np.int64)
    return int(np.count_nonzero(age > LATE_TICKS))


def known(value: float, places: int = 4) -> float | None:
    """Return a number rounded, None where there was no reading."""
    return round(float(value), places) if np.isfinite(value) else None


def event_words(event: EventLine) -> tuple[str, float | None]:
    """Return an event's text and the bath temperature its note knows, °C."""
    if event.kind not in NOTE_CODES:
        return event.text, None
    note = note_in(event)
    return note.text, known(note.bath_c, 2)
