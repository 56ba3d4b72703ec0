"""Byte streams by pyserial: device paths and socket://host:port, for controller and instruments.

The only file that imports serial.  A lost line is PortLostError from every method.
"""

from __future__ import annotations

import errno
import select

import serial
from serial.tools import list_ports

from proofbath.bench.port import PortLostError
from proofbath.errors import BenchFaultError, InputError

WRITE_WAIT_S = 1.0
MOST_BYTES = 4096
_BUSY = (errno.EBUSY, errno.EAGAIN, errno.EWOULDBLOCK)


class Stream:
    """An opened line; reading waits at most `wait_s`, writing at most `WRITE_WAIT_S`."""

    def __init__(self, url: str, port: serial.SerialBase, wait_s: float) -> None:
        self._url = url
        self._port = port
        self._wait_s = wait_s

    def read(self) -> bytes:
        """Return what has arrived, waiting for the first byte; empty when none came in time."""
        try:
            if not select.select([self._port], [], [], self._wait_s)[0]:
                return b""
            return bytes(self._port.read(MOST_BYTES))
        except (OSError, ValueError) as error:
            raise self._lost(error) from error

    def waiting(self) -> bool:
        """Return whether `read` would return at once: bytes have come, or the line is lost."""
        try:
            return bool(select.select([self._port], [], [], 0.0)[0])
        except (OSError, ValueError) as error:
            raise self._lost(error) from error

    def write(self, data: bytes) -> None:
        """Send all of `data`."""
        try:
            self._port.write(data)
        except OSError as error:
            raise self._lost(error) from error

    def close(self) -> None:
        """Let go of the line; closing a lost one is no error."""
        # pyserial forgets a socket whose far end has reset the connection, without closing it.
        forgotten = getattr(self._port, "_socket", None)
        self._port.close()
        if forgotten is not None:
            forgotten.close()

    def _lost(self, error: Exception) -> PortLostError:
        return PortLostError(f"port {self._url}: line is lost ({error}); check plug and cable")


def open_stream(url: str, baud: int, wait_s: float) -> Stream:
    """Return the opened stream; a device path is held alone.

    Raises InputError for what is not there, BenchFaultError for what is busy or does not answer.
    """
    try:
        port = serial.serial_for_url(
            url, baud, timeout=0, write_timeout=WRITE_WAIT_S, exclusive=True
        )
    except ValueError as error:
        raise InputError(f"port {url}: {error}; give a device path or socket://host:port") from None
    except serial.SerialException as error:
        raise refusal(url, error) from error
    return Stream(url, port, wait_s)


def refusal(url: str, error: OSError) -> InputError | BenchFaultError:
    """Return the error that says why a port cannot be opened, and whose job the remedy is."""
    number = error.errno
    if number in _BUSY:
        return BenchFaultError(f"port {url}: in use; end the other program that holds it")
    if number == errno.EACCES:
        return InputError(f"port {url}: no permission; join the group that owns the device")
    if number == errno.ENOENT:
        known = ", ".join(sorted(port.device for port in list_ports.comports())) or "none"
        return InputError(f"port {url}: not there; plug it in or name another (found: {known})")
    return BenchFaultError(f"port {url}: cannot be opened ({error}); check device and cable")
