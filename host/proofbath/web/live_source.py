"""What a bench shows now: its newest run's record, how it stands, and whether that is fresh."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np

from proofbath.bench.clock import Clock, utc_text
from proofbath.store.journal import OPEN
from proofbath.web.history import Track, thinned
from proofbath.web.live_chunks import ChunkReader
from proofbath.web.live_figures import figures_now
from proofbath.web.live_run import LiveRun
from proofbath.web.live_standing import standing
from proofbath.web.present import UNSEEN, Process, Seen, seen_in_run

ASK_EVERY_S = 1.0
BUCKETS_MOST, BUCKETS_USUAL = 2000, 500
MORE_BUCKETS = 20
"""An increment of a fast virtual bench is thinned to so many spans."""

Ask = Callable[[], Process | None]
"""Asks what holds the bench how it stands; None when nothing holds it."""
About = Callable[[dict[str, Any]], dict[str, Any]]
"""Adds to a state what is not in the journal."""


class Window(NamedTuple):
    """Which part of a record a viewer looks at, and how wide the screen is."""

    last_s: float | None = None
    buckets: int = BUCKETS_USUAL


class Increment(NamedTuple):
    """What a poll found: `upto` moments there are now; `anew` where another run began."""

    upto: int
    track: Track | None
    anew: bool = False


class LiveSource:
    """One bench followed; its methods may be called from any thread."""

    def __init__(
        self,
        reader: ChunkReader,
        bench: str,
        ask: Ask,
        wall_s: Clock,
        about: About = lambda state: state,
        utc: Callable[[], str] = utc_text,
    ) -> None:
        self._reader = reader
        self._bench = bench
        self._ask = ask
        self._wall_s = wall_s
        self._about = about
        self._utc = utc
        self._lock = threading.Lock()
        self._run: LiveRun | None = None
        self._number = -1
        self._looked_s: float | None = None
        self._not_before_s: float | None = None
        """A look at which the newest sample was not there yet."""
        self._shown: tuple[tuple[int, int, Window], dict[str, Any]] | None = None
        """The last record shown: many screens ask for the same."""
        self._asked_s = wall_s() - ASK_EVERY_S
        self._process: Process | None = None

    def poll(self) -> Increment | None:
        """Read what is new; None when nothing is.  Raises RecordError."""
        with self._lock:
            before_s, self._looked_s = self._looked_s, self._wall_s()
            run_id = self._run.state.run_id if self._run else None
            look = self._reader.look(self._bench, run_id, self._number)
            if look.run is None:
                return None
            if look.head is not None:
                self._run = LiveRun(look.run, look.head)
            assert self._run is not None, "a run without a head is the one followed"
            ended = look.run != self._run.state
            track = self._run.take(look.run, look.news)
            self._number = look.news.number
            if track is not None:
                self._not_before_s = before_s
            if track is None and look.head is None and not ended:
                return None
            return Increment(self._run.history.count, track, look.head is not None)

    def begin(self, window: Window) -> dict[str, Any]:
        """Return state and record from the beginning of a window, ready for JSON.

        Raises RecordError where the journal was not read before and cannot be.
        """
        if self._looked_s is None:
            self.poll()
        state = self.state()
        with self._lock:
            if self._run is None:
                return {"kind": "begin", "upto": 0, "state": state, "history": None}
            upto, run_id = self._run.history.count, self._run.state.run_id
            if self._shown is None or self._shown[0] != (run_id, upto, window):
                history = windowed(self._run.history.track(), window).to_json()
                self._shown = (run_id, upto, window), history
            history = self._shown[1]
        return {"kind": "begin", "upto": upto, "state": state, "history": history}

    def state(self) -> dict[str, Any]:
        """Return how the bench stands, ready for JSON."""
        self._ask_again()
        with self._lock:
            now_s, process, run = self._wall_s(), self._process, self._run
            ours = run is not None and process is not None and self._carries(process, run)
            shown = UNSEEN if run is None else self._seen(run, process, ours, now_s)
            found = standing(run.state if run else None, shown, process, ours)
            state = {
                "bench": self._bench,
                "standing": found.word,
                "machine": {"sign": found.sign, "doing": found.doing},
                "words": found.words,
                "paused": process is not None and process.paused,
                "alarm": (process.alarm() if process else "") or (run.alarm if run else ""),
                "lines": (),
                "now": figures_now(run, shown, process, now_s),
                "run": run.describe() if run else None,
                "process": None if process is None else dict(process.answer),
            }
        return self._about(state)

    def _ask_again(self) -> None:
        now_s = self._wall_s()
        if now_s - self._asked_s >= ASK_EVERY_S:
            self._asked_s = now_s
            self._process = self._ask()

    def _carries(self, process: Process, run: LiveRun) -> bool:
        return process.carries(run.state.run_id, self._reader.key)

    def _seen(self, run: LiveRun, process: Process | None, ours: bool, now_s: float) -> Seen:
        sampled = run.sampled(self._not_before_s)
        if sampled is None:
            return UNSEEN
        opened, t_s = run.state.status == OPEN, run.newest_s
        return seen_in_run(
            sampled, opened, process, ours=ours, t_s=t_s, now_s=now_s, at=self._utc()
        )


def windowed(track: Track, window: Window) -> Track:
    """Return the part of a track a viewer looks at, thinned to the screen."""
    if window.last_s is not None and len(track.t_s):
        first = int(np.searchsorted(track.t_s, track.t_s[-1] - window.last_s))
        track = Track(track.t_s[first:], track.values[first:])
    return thinned(track, max(1, min(window.buckets, BUCKETS_MOST)))
