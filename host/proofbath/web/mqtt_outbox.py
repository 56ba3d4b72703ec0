"""What waits for the broker: bounded, in order, with what had to be dropped counted.

State and identity are not queued: only the newest of each is worth telling, and it is told
again after each reconnection.  Samples and events are bounded apart, so that a night's samples
never push out its trip; they leave in the order they came in.
"""

from __future__ import annotations

import asyncio
from collections import deque
from itertools import count
from typing import NamedTuple

RESULT = "result"
Mark = tuple[str, int]
"""A run's number as text and its next chunk, or `RESULT` and a result's number."""


class Message(NamedTuple):
    """One message; `mark` is what is to be remembered as told once the broker has it."""

    topic: str
    payload: bytes
    qos: int
    retain: bool = False
    mark: Mark | None = None


class Outbox:
    """The messages of one bench that the broker has not confirmed yet."""

    def __init__(self, samples_most: int, events_most: int) -> None:
        self.dropped_samples = 0
        self.dropped_events = 0
        self._most = (samples_most, events_most)
        self._samples = deque[tuple[int, Message]]()
        self._events = deque[tuple[int, Message]]()
        self._latest: dict[str, Message] = {}
        self._untold: set[str] = set()
        self._numbers = count()
        self._change = asyncio.Event()

    def __len__(self) -> int:
        return len(self._samples) + len(self._events)

    def put_latest(self, message: Message) -> None:
        """Take a retained message in place of the one before on its topic."""
        self._latest[message.topic] = message
        self._untold.add(message.topic)
        self._change.set()

    def put_sample(self, message: Message) -> None:
        """Take a sample, at the cost of the oldest when there are too many."""
        if len(self._samples) >= self._most[0]:
            self._samples.popleft()
            self.dropped_samples += 1
        self._samples.append((next(self._numbers), message))
        self._change.set()

    def put_event(self, message: Message) -> None:
        """Take an event or a result, at the cost of the oldest when there are too many."""
        if len(self._events) >= self._most[1]:
            self._events.popleft()
            self.dropped_events += 1
        self._events.append((next(self._numbers), message))
        self._change.set()

    def retell(self) -> None:
        """Let the retained messages be told again: the broker may have forgotten them."""
        self._untold.update(self._latest)
        self._change.set()

    def first(self) -> Message | None:
        """Return what is to be told next; it stays until `told`."""
        if self._untold:
            return self._latest[min(self._untold)]
        waiting = [queue[0] for queue in (self._samples, self._events) if queue]
        return min(waiting)[1] if waiting else None

    def told(self, message: Message) -> None:
        """Forget a message the broker has; a newer one in its place stays."""
        if self._latest.get(message.topic) is message:
            self._untold.discard(message.topic)
        for queue in (self._samples, self._events):
            if queue and queue[0][1] is message:
                queue.popleft()

    async def next(self) -> Message:
        """Wait until something is to be told and return it."""
        while (message := self.first()) is None:
            self._change.clear()
            await self._change.wait()
        return message
