"""The virtual bench as a port: reading is what makes its time pass."""

from __future__ import annotations

from typing import Protocol

from proofbath.wire.table import TICK_MS


class Ticking(Protocol):
    """A controller with its bench that lives one tick at a time."""

    def advance(self, data: bytes) -> bytes:
        """Give the controller bytes, let one tick pass, return the bytes it sent."""


class VirtualPort:
    """Each `read` lets one tick pass with the bytes written since the one before."""

    name = "virtual bench"

    def __init__(self, bench: Ticking) -> None:
        self._bench = bench
        self._unsent = b""
        self._ticks = 0

    def read(self) -> bytes:
        """Return what the controller sent within the next tick."""
        data, self._unsent = self._unsent, b""
        self._ticks += 1
        return self._bench.advance(data)

    def write(self, data: bytes) -> None:
        """Keep bytes for the next tick."""
        self._unsent += data

    def now_s(self) -> float:
        """Return the bench's own time since the port was made."""
        return self._ticks * (TICK_MS / 1000)

    def close(self) -> None:
        """Do nothing: the bench lives on with whoever made it."""
