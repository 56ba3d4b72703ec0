"""A real port to a controller: a device path or socket://host:port, read by one thread."""

from __future__ import annotations

import threading
from queue import Empty, SimpleQueue

from proofbath.bench.clock import Clock, monotonic_s
from proofbath.bench.port import PortLostError
from proofbath.bench.stream import open_stream
from proofbath.wire.table import TICK_MS

BAUD = 115200


class SerialPort:
    """One open port; `read` waits `wait_s` at most, by default a tick."""

    def __init__(
        self, url: str, wall_s: Clock = monotonic_s, wait_s: float = TICK_MS / 1000
    ) -> None:
        """Open a port; raises InputError when it is not there, BenchFaultError when it is busy."""
        self.name = url
        self._wall_s = wall_s
        self._wait_s = wait_s
        self._stream = open_stream(url, BAUD, wait_s)
        self._received: SimpleQueue[bytes | PortLostError] = SimpleQueue()
        self._closing = threading.Event()
        self._lost: PortLostError | None = None
        self._reader = threading.Thread(target=self._receive, name=f"read {url}", daemon=True)
        self._reader.start()

    def read(self) -> bytes:
        """Return all that has arrived, after a short wait at most; raises PortLostError."""
        if self._lost:
            raise self._lost
        data = b""
        try:
            part = self._received.get(timeout=self._wait_s)
            while True:
                if isinstance(part, PortLostError):
                    self._lost = part
                    break
                data += part
                part = self._received.get_nowait()
        except Empty:
            pass
        if self._lost and not data:
            raise self._lost
        return data

    def write(self, data: bytes) -> None:
        """Send bytes; raises PortLostError when they cannot leave."""
        self._stream.write(data)

    def now_s(self) -> float:
        """Return wall time: the controller keeps its own."""
        return self._wall_s()

    def close(self) -> None:
        """End the reader and let go of the port."""
        self._closing.set()
        self._reader.join()
        self._stream.close()

    def _receive(self) -> None:
        try:
            while not self._closing.is_set():
                data = self._stream.read()
                if data:
                    self._received.put(data)
        except PortLostError as error:
            self._received.put(error)
