"""Byte streams by URL, for the instruments beside the controller.

`open_stream(url, baud, timeout_s, exclusive)` opens a device path, `socket://host:port` or any
other URL pyserial knows. A lost line is PortLostError from every method; nothing else escapes.
"""

from __future__ import annotations

import serial

from proofbath.bench.port import PortLostError
from proofbath.errors import InputError


class Stream:
    """An opened line; reading waits at most the timeout it was opened with."""

    def __init__(self, url: str, port: serial.SerialBase) -> None:
        self._url = url
        self._port = port

    def read(self) -> bytes:
        """Return what has arrived, waiting for the first byte at most; empty after the timeout."""
        try:
            data = bytes(self._port.read(1))
            while data and (more := self._port.in_waiting):  # a socket admits to one byte at most
                data += self._port.read(more)
        except OSError as error:
            raise self._lost(error) from error
        return data

    def waiting(self) -> bool:
        """Return whether `read` would return at once: bytes have come, or the line is lost."""
        try:
            return bool(self._port.in_waiting)
        except OSError as error:
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

    def _lost(self, error: OSError) -> PortLostError:
        return PortLostError(f"{self._url}: the line is lost ({error}); check cable and power")


def open_stream(url: str, baud: int, timeout_s: float, exclusive: bool = True) -> Stream:
    """Return the opened stream; `exclusive` keeps other processes off a device path.

    Raises InputError for a URL that is none, PortLostError where nothing answers.
    """
    try:
        port = serial.serial_for_url(
            url,
            baudrate=baud,
            timeout=timeout_s,
            write_timeout=timeout_s,
            exclusive=exclusive or None,
        )
    except ValueError as error:
        raise InputError(f"port {url!r}: {error}; give a device path or socket://host:port") from (
            error
        )
    except OSError as error:
        raise PortLostError(
            f"port {url!r} cannot be opened: {error}; check name, cable and who else holds it"
        ) from error
    return Stream(url, port)
