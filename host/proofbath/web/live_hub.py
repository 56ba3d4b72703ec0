"""What the live pages share: a feed a bench, who holds it, and what was started on it."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable
from contextlib import closing, suppress
from typing import Any

from starlette.datastructures import State
from starlette.requests import HTTPConnection

from proofbath.bench.clock import Clock
from proofbath.bench.connect import bench_holder, control_path
from proofbath.bench.control_socket import command
from proofbath.bench.description import BenchFile
from proofbath.errors import BenchFaultError, ProofbathError
from proofbath.store.journal import Journal
from proofbath.store.kinds import Loading, Person
from proofbath.store.tables import place_key
from proofbath.web.frame import Frame
from proofbath.web.holder import IDLE_S, Begun, Holders
from proofbath.web.launch import Launched, Launcher, reasons
from proofbath.web.live_chunks import ChunkReader
from proofbath.web.live_feed import Feed
from proofbath.web.live_source import Ask, LiveSource
from proofbath.web.present import Process
from proofbath.workshop.keeping import loadings_of
from proofbath.workshop.shop import Shop

AHEAD_MOST = 8
"""Benches that are read though nobody looks; each night kept for the screen fills memory."""


class LiveHub:
    """Made on first use; forgotten with the process."""

    def __init__(self, frame: Frame) -> None:
        self.holders = Holders(self._begun)
        self.launcher = Launcher(frame.shop)
        self._frame = frame
        self._reader: ChunkReader | None = None
        self._sources: dict[str, LiveSource] = {}
        self._feeds: dict[str, Feed] = {}
        self._starters: dict[int, str | None] = {}
        self._lock = threading.Lock()

    def source(self, bench: str) -> LiveSource:
        """Return what a bench shows; raises InputError for one that is not the workshop's."""
        with self._lock:
            if bench not in self._sources:
                described = self._frame.shop.bench(bench)
                self._reader = self._reader or ChunkReader(self._frame.shop.records.place)
                self._sources[bench] = LiveSource(
                    self._reader,
                    bench,
                    asking(described, self._frame.monotonic_s),
                    self._frame.monotonic_s,
                    self._about(bench),
                    self._frame.utc,
                )
            return self._sources[bench]

    def feed(self, bench: str) -> Feed:
        """Return the one reader of a bench; raises InputError as `source` does."""
        source = self.source(bench)
        with self._lock:
            if bench not in self._feeds:
                self._feeds[bench] = Feed(source, self._frame.monotonic_s)
            return self._feeds[bench]

    def feeds(self) -> list[Feed]:
        """Return the readers of the first `AHEAD_MOST` benches whose files can be read."""
        found = []
        for name in self._names()[:AHEAD_MOST]:
            with suppress(ProofbathError):
                found.append(self.feed(name))
        return found

    def close(self) -> None:
        """Stop reading and let go of the journal."""
        for feed in self._feeds.values():
            feed.stop()
        if self._reader is not None:
            self._reader.close()

    def _names(self) -> list[str]:
        try:
            return [*self._frame.shop.bench_files()]
        except ProofbathError:
            return []

    def _begun(self, bench: str) -> Begun | None:
        """Return which run of the workshop's a bench carries out, and who loaded it."""
        shop = self._frame.shop
        with suppress(ProofbathError):
            process = asking(shop.bench(bench), self._frame.monotonic_s)()
            if process is None or process.answer.get("records") != place_key(shop.records.place):
                return None
            run_id = int(process.answer["run"])
            if run_id not in self._starters:
                self._starters[run_id] = started_by(shop, run_id)
            person = self._starters[run_id]
            return None if person is None else Begun(run_id, person)
        return None

    def _about(self, bench: str) -> Callable[[dict[str, Any]], dict[str, Any]]:
        def about(state: dict[str, Any]) -> dict[str, Any]:
            now_s = self._frame.monotonic_s()
            hold = self.holders.of(bench, now_s)
            idle_s = now_s - hold.seen_s if hold else 0.0
            state["holder"] = hold and {"person": hold.person, "may_be_taken": idle_s >= IDLE_S}
            return started(state, self.launcher.last(bench))

        return about


def started(state: dict[str, Any], last: Launched | None) -> dict[str, Any]:
    """Return a bench's state with what is known of the last start on it, if it has no run yet."""
    run = state["run"]
    if last is None or state["standing"] not in ("idle", "ended", "busy", "starting"):
        return state
    if run is not None and run["started"] >= last.at:
        return state
    if last.state == "going" and not last.begun:
        words = "A night is being started: the bench is checked before heat."
        machine = {"sign": "wait", "doing": "being checked before heat"}
        return state | {"standing": "starting", "words": words, "machine": machine}
    if last.state == "failed" and state["standing"] in ("idle", "ended"):
        words = "The night was not started; nothing was heated."
        machine = {"sign": "bad", "doing": "not started"}
        refused = {"standing": "refused", "words": words, "machine": machine}
        return state | refused | {"lines": reasons(last)}
    return state


def started_by(shop: Shop, run_id: int) -> str | None:
    """Return who put on record what hangs in a run, as a start does; None where nobody did."""
    with closing(Journal(shop.records.place)) as journal:
        loadings = loadings_of(journal, run_id)
    if not loadings:
        return None
    first = shop.records.history(Loading, min(loadings.values()))[0]
    return None if first.by is None else shop.records.one(Person, first.by).entry.name


def asking(bench: BenchFile, clock_s: Clock) -> Ask:
    """Return what asks whatever holds a bench how it stands."""
    path = control_path(bench)

    def ask() -> Process | None:
        now_s = clock_s()
        try:
            answer = json.loads(command(path, "status"))
        except BenchFaultError:
            pid = bench_holder(bench)
            return None if pid is None else Process({}, now_s, pid)
        return Process(answer, now_s)

    return ask


def hub_of(connection: HTTPConnection) -> LiveHub:
    """Return what the live pages of an application share."""
    return hub_in(connection.app.state)


def hub_in(state: State) -> LiveHub:
    """Return the hub in an application's state, made on first use."""
    if not hasattr(state, "live"):
        state.live = LiveHub(state.frame)
    hub: LiveHub = state.live
    return hub
