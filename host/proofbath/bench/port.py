"""What every port to a controller offers."""

from __future__ import annotations

from typing import Protocol

from proofbath.errors import BenchFaultError


class PortLostError(BenchFaultError):
    """The port is gone: unplugged, or the far end hung up."""


class Port(Protocol):
    """A line to one controller; a lost one raises PortLostError from `read` and `write`."""

    name: str
    """What the operator calls it."""

    def read(self) -> bytes:
        """Return what has arrived, after a short wait at most; empty when nothing has."""

    def write(self, data: bytes) -> None:
        """Send bytes to the controller."""

    def now_s(self) -> float:
        """Return the seconds that silence is measured in: wall time, or a virtual bench's own."""

    def close(self) -> None:
        """Let go of the port; the controller switches off by its lease."""
