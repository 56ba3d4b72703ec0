"""The virtual bench as a port: reading is what makes its time pass, at its speed if it has one."""

from __future__ import annotations

from collections.abc import Callable
from time import sleep
from typing import Protocol

from proofbath.bench.clock import Clock, monotonic_s
from proofbath.virtual.bench import VirtualBench
from proofbath.wire.table import TICK_MS

TICK_S = TICK_MS / 1000
SHORTEST_WAIT_S = 0.002
"""Less is not waited for: a wait is longer than it was meant to be."""
CATCH_UP_S = 1.0
"""What a computer that was busy makes up for; of a longer sleep nothing is."""


class Ticking(Protocol):
    """A controller with its bench that lives one tick at a time."""

    def advance(self, data: bytes) -> bytes:
        """Give the controller bytes, let one tick pass, return the bytes it sent."""


class Pace:
    """Lets ticks pass at `speed` times life, by a clock and a way to wait."""

    def __init__(
        self,
        speed: float,
        wall_s: Clock = monotonic_s,
        wait: Callable[[float], None] = sleep,
    ) -> None:
        self._tick_s = TICK_S / speed
        self._wall_s = wall_s
        self._wait = wait
        self._due_s = wall_s()

    def tick(self) -> None:
        """Wait until the next tick is due."""
        now_s = self._wall_s()
        self._due_s = max(self._due_s + self._tick_s, now_s - CATCH_UP_S)
        if self._due_s - now_s > SHORTEST_WAIT_S:
            self._wait(self._due_s - now_s)


class VirtualPort:
    """Each `read` lets one tick pass with the bytes written since the one before."""

    name = "virtual bench"

    def __init__(self, bench: Ticking, pace: Pace | None = None) -> None:
        """Speak to a bench, by default at its own speed."""
        if pace is None and isinstance(bench, VirtualBench) and bench.speed is not None:
            pace = Pace(bench.speed)
        self._bench = bench
        self._pace = pace
        self._unsent = b""
        self._ticks = 0

    def read(self) -> bytes:
        """Return what the controller sent within the next tick."""
        if self._pace is not None:
            self._pace.tick()
        data, self._unsent = self._unsent, b""
        self._ticks += 1
        return self._bench.advance(data)

    def write(self, data: bytes) -> None:
        """Keep bytes for the next tick."""
        self._unsent += data

    def now_s(self) -> float:
        """Return the bench's own time since the port was made."""
        return self._ticks * TICK_S

    def close(self) -> None:
        """Do nothing: the bench lives on with whoever made it."""
