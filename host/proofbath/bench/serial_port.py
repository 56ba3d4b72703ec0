"""A real port by pyserial: a device path or socket://host:port, read by one thread.

The only file that imports serial.
"""

from __future__ import annotations

import errno
import select
import threading
from queue import Empty, SimpleQueue

import serial
from serial.tools import list_ports

from proofbath.bench.clock import Clock, monotonic_s
from proofbath.bench.port import PortLostError
from proofbath.errors import BenchFaultError, InputError
from proofbath.wire.table import TICK_MS

BAUD = 115200
WRITE_WAIT_S = 1.0
MOST_BYTES = 4096
_BUSY = (errno.EBUSY, errno.EAGAIN, errno.EWOULDBLOCK)


class SerialPort:
    """One open port; `read` waits `wait_s` at most, by default a tick."""

    def __init__(
        self, url: str, wall_s: Clock = monotonic_s, wait_s: float = TICK_MS / 1000
    ) -> None:
        """Open a port; raises InputError when it is not there, BenchFaultError when it is busy."""
        self.name = url
        self._wall_s = wall_s
        self._wait_s = wait_s
        self._serial = _opened(url)
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
        """Send bytes; raises PortLostError when they cannot leave within `WRITE_WAIT_S`."""
        try:
            self._serial.write(data)
        except (serial.SerialException, OSError) as error:
            raise _lost(self.name, error) from error

    def now_s(self) -> float:
        """Return wall time: the controller keeps its own."""
        return self._wall_s()

    def close(self) -> None:
        """End the reader and let go of the port."""
        self._closing.set()
        self._reader.join()
        # pyserial leaves a socket open whose far end has gone.
        far_end = getattr(self._serial, "_socket", None)
        self._serial.close()
        if far_end is not None:
            far_end.close()

    def _receive(self) -> None:
        while not self._closing.is_set():
            try:
                if select.select([self._serial], [], [], self._wait_s)[0]:
                    self._received.put(self._serial.read(MOST_BYTES))
            except (serial.SerialException, OSError, ValueError) as error:
                self._received.put(_lost(self.name, error))
                return


def _opened(url: str) -> serial.SerialBase:
    try:
        return serial.serial_for_url(
            url, BAUD, timeout=0, write_timeout=WRITE_WAIT_S, exclusive=True
        )
    except ValueError as error:
        raise InputError(f"port {url}: {error}; give a device path or socket://host:port") from None
    except serial.SerialException as error:
        raise _refusal(url, error) from error


def _refusal(url: str, error: serial.SerialException) -> InputError | BenchFaultError:
    number = error.errno
    if number in _BUSY or "exclusively lock" in str(error):
        return BenchFaultError(f"port {url}: in use; end the other program that holds it")
    if number == errno.EACCES:
        return InputError(f"port {url}: no permission; join the group that owns the device")
    if number == errno.ENOENT:
        known = ", ".join(sorted(port.device for port in list_ports.comports())) or "none"
        return InputError(f"port {url}: not there; plug it in or name another (found: {known})")
    return BenchFaultError(f"port {url}: cannot be opened ({error}); check device and cable")


def _lost(url: str, error: Exception) -> PortLostError:
    return PortLostError(f"port {url}: lost ({error}); check plug and cable")
