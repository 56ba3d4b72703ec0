"""One reader a bench for any number of viewers; who is slow gets the newest state, later."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Awaitable, Callable
from typing import Any

from proofbath.bench.clock import Clock
from proofbath.errors import ProofbathError
from proofbath.web.history import thinned
from proofbath.web.live_source import MORE_BUCKETS, Increment, LiveSource, Window

POLL_S = 0.1
BEAT_S = 1.0
WAITING_MOST = 20
"""Messages a viewer may be behind; then it gets everything anew instead."""


class Viewer:
    """One screen: what waits to be sent to it."""

    def __init__(self, source: LiveSource) -> None:
        self.window = Window()
        self._source = source
        self._upto = 0
        self._waiting: asyncio.Queue[tuple[int | None, str]] = asyncio.Queue(WAITING_MOST)
        self._anew = True
        self._woken = asyncio.Event()
        self._woken.set()

    @property
    def idle(self) -> bool:
        """Whether nothing waits to be sent."""
        return not self._anew and self._waiting.empty()

    def look(self, window: Window) -> None:
        """Show another part of the record, from its beginning."""
        self.window = window
        self.begin_anew()

    def begin_anew(self) -> None:
        """Forget what waits; the next message holds everything."""
        while not self._waiting.empty():
            self._waiting.get_nowait()
        self._anew = True
        self._woken.set()

    def offer(self, upto: int | None, text: str) -> None:
        """Let a message wait; `upto` says which moments it brings, None for a heartbeat."""
        if self._anew:
            return
        if self._waiting.full():
            self.begin_anew()
            return
        self._waiting.put_nowait((upto, text))
        self._woken.set()

    async def next(self) -> str:
        """Return the next message to send."""
        while True:
            await self._woken.wait()
            if self._anew:
                self._anew = False
                begun = await asyncio.to_thread(self._source.begin, self.window)
                self._upto = begun["upto"]
                return _text(begun)
            if self._waiting.empty():
                self._woken.clear()
                continue
            upto, text = self._waiting.get_nowait()
            if upto is None or upto > self._upto:
                self._upto = self._upto if upto is None else upto
                return text


class Feed:
    """Reads one bench for all who look."""

    def __init__(
        self,
        source: LiveSource,
        wall_s: Clock,
        wait: Callable[[float], Awaitable[object]] = asyncio.sleep,
    ) -> None:
        self._source = source
        self._wall_s = wall_s
        self._wait = wait
        self._beat_s = wall_s()
        self._viewers: set[Viewer] = set()
        self._reading: asyncio.Task[None] | None = None

    def start(self) -> None:
        """Begin to read, seldom while nobody looks: who comes finds the record read already."""
        if self._reading is None or self._reading.done():
            self._reading = asyncio.create_task(self._read())

    def stop(self) -> None:
        """Read no more."""
        if self._reading is not None:
            self._reading.cancel()

    def join(self) -> Viewer:
        """Add a viewer."""
        viewer = Viewer(self._source)
        self._viewers.add(viewer)
        self.start()
        return viewer

    def leave(self, viewer: Viewer) -> None:
        """Take a viewer away."""
        self._viewers.discard(viewer)

    async def _read(self) -> None:
        while True:
            calm = await self.turn()
            await self._wait(POLL_S if calm and self._viewers else BEAT_S)

    async def turn(self) -> bool:
        """Read once, tell the viewers, and return whether the journal could be read."""
        found, trouble = None, ""
        try:
            found = await asyncio.to_thread(self._source.poll)
        except ProofbathError as error:
            trouble = str(error)
        if found is not None:
            self._spread(found)
        if not self._viewers:
            return not trouble
        now_s = self._wall_s()
        if found is not None or trouble or now_s - self._beat_s >= BEAT_S:
            self._beat_s = now_s
            state = await asyncio.to_thread(self._source.state)
            if trouble:
                unknown = {"sign": "bad", "doing": "not known"}
                state |= {"standing": "stale", "words": trouble, "machine": unknown}
            self._say(None, {"kind": "beat", "state": state})
        return not trouble

    def _spread(self, found: Increment) -> None:
        if found.anew:
            for viewer in self._viewers:
                viewer.begin_anew()
        elif found.track is not None:
            few = thinned(found.track, MORE_BUCKETS)
            more = {"kind": "more", "upto": found.upto, "history": few.to_json()}
            self._say(found.upto, more)

    def _say(self, upto: int | None, message: dict[str, Any]) -> None:
        text = _text(message)
        for viewer in self._viewers:
            viewer.offer(upto, text)


def _text(message: dict[str, Any]) -> str:
    return json.dumps(message, separators=(",", ":"), allow_nan=False)
