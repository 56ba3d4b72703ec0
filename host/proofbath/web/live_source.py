"""What a bench shows now: its newest run's record, how it stands, and whether that is fresh."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np

from proofbath.bench.clock import Clock
from proofbath.store.journal import OPEN
from proofbath.web.history import Track, thinned
from proofbath.web.live_chunks import ChunkReader
from proofbath.web.live_run import LiveRun

STALE_S = 3.0
"""Chunks are committed every second; later than this is said."""
ASK_EVERY_S = 1.0
BUCKETS_MOST, BUCKETS_USUAL = 2000, 500
MORE_BUCKETS = 20
"""An increment of a fast virtual bench is thinned to so many spans."""

Ask = Callable[[], str | None]
"""Asks the bench process how it stands: its JSON, None when no process answers."""
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
    ) -> None:
        self._reader = reader
        self._bench = bench
        self._ask = ask
        self._wall_s = wall_s
        self._about = about
        self._lock = threading.Lock()
        self._run: LiveRun | None = None
        self._number = -1
        self._looked = False
        self._shown: tuple[tuple[int, int, Window], dict[str, Any]] | None = None
        """The last record shown: many screens ask for the same."""
        self._news_s = self._asked_s = wall_s() - ASK_EVERY_S
        self._answer: dict[str, Any] | None = None

    def poll(self) -> Increment | None:
        """Read what is new; None when nothing is.  Raises RecordError."""
        with self._lock:
            self._looked = True
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
            if track is None and look.head is None and not ended:
                return None
            self._news_s = self._wall_s()
            return Increment(self._run.history.count, track, look.head is not None)

    def begin(self, window: Window) -> dict[str, Any]:
        """Return state and record from the beginning of a window, ready for JSON.

        Raises RecordError where the journal was not read before and cannot be.
        """
        if not self._looked:
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
            now_s = self._wall_s()
            run = self._run.describe() if self._run else None
            standing, words = self._standing(now_s - self._news_s)
            state = {
                "bench": self._bench,
                "standing": standing,
                "words": words,
                "lines": (),
                "age_s": round(max(0.0, now_s - self._news_s), 1),
                "run": run,
                "process": self._answer,
            }
        return self._about(state)

    def _ask_again(self) -> None:
        now_s = self._wall_s()
        if now_s - self._asked_s >= ASK_EVERY_S:
            self._asked_s = now_s
            said = self._ask()
            self._answer = None if said is None else json.loads(said)

    def _standing(self, age_s: float) -> tuple[str, str]:
        run, answers = self._run, self._answer is not None
        if run is None or run.state.status != OPEN:
            if self._answer and age_s > STALE_S:
                return "busy", "Another program runs this bench; its record is kept elsewhere."
            if self._answer == {}:
                return "starting", "A run is being started: the bench is checked before heat."
            return ("idle", "No run on this bench yet.") if run is None else ("ended", _ended(run))
        if not answers and age_s > STALE_S:
            return "lost", (
                "The process that ran this bench is gone, nothing controls it now. The controller "
                "has switched everything off by itself when its lease ran out. Look at the bench; "
                "then go on with: proofbath resume."
            )
        if age_s > STALE_S:
            return "stale", (
                f"No new data for {age_s:.0f} s. What is shown is old. Look at the bench itself."
            )
        return "running", "Live."


def windowed(track: Track, window: Window) -> Track:
    """Return the part of a track a viewer looks at, thinned to the screen."""
    if window.last_s is not None and len(track.t_s):
        first = int(np.searchsorted(track.t_s, track.t_s[-1] - window.last_s))
        track = Track(track.t_s[first:], track.values[first:])
    return thinned(track, max(1, min(window.buckets, BUCKETS_MOST)))


def _ended(run: LiveRun) -> str:
    reason = f": {run.state.reason}".replace("_", " ") if run.state.reason else ""
    return (
        f"The last run has ended, {run.state.status}{reason}. Shown is how it ended, not how the "
        "bath is now: it scalds until it is seen to be below 45 °C."
    )
