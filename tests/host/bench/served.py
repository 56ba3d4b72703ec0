"""A bench behind a real pseudo-terminal or TCP socket: one thread that ticks it in lock-step.

After each tick it waits a moment for the host's answer, so that a run goes as fast as the host.
"""

from __future__ import annotations

import os
import select
import socket
import threading
import tty
from collections.abc import Iterator
from contextlib import contextmanager

from proofbath.bench.virtual_port import Ticking

ANSWER_WAIT_S = 0.02


class Served:
    """A served bench: `url` to open it by; what `unplug` does cannot be undone."""

    def __init__(self, bench: Ticking, url: str, descriptor: int) -> None:
        self.bench = bench
        self.url = url
        self.portion = 4096
        self.hurry = threading.Event()
        self._descriptor = descriptor
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._serve, daemon=True)

    def start(self) -> None:
        self._thread.start()

    def unplug(self) -> None:
        self._over.set()
        if self._thread.is_alive():
            self._thread.join()
        os.close(self._descriptor)

    def _serve(self) -> None:
        heard = b""
        while not self._over.is_set():
            said = self.bench.advance(heard)
            for at in range(0, len(said), self.portion):
                if not self._say(said[at : at + self.portion]):
                    return
            heard = b"" if self.hurry.is_set() else self._listen()

    def _say(self, part: bytes) -> bool:
        while not self._over.is_set():
            if select.select([], [self._descriptor], [], ANSWER_WAIT_S)[1]:
                try:
                    os.write(self._descriptor, part)
                except OSError:
                    return False
                return True
        return False

    def _listen(self) -> bytes:
        heard = b""
        while not heard.endswith(b"\n"):
            if not select.select([self._descriptor], [], [], ANSWER_WAIT_S)[0]:
                break
            try:
                part = os.read(self._descriptor, 4096)
            except OSError:
                break
            if not part:
                break
            heard += part
        return heard


@contextmanager
def on_pty(bench: Ticking) -> Iterator[Served]:
    master, slave = os.openpty()
    tty.setraw(slave)
    served = Served(bench, os.ttyname(slave), master)
    try:
        yield served
    finally:
        if not served._over.is_set():
            served.unplug()
        os.close(slave)


@contextmanager
def on_socket(bench: Ticking) -> Iterator[Served]:
    """Listens at once; the far end is taken when `start` is called, after the host connected."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        url = f"socket://127.0.0.1:{listener.getsockname()[1]}"
        served = Served(bench, url, -1)
        begin = served.start

        def start() -> None:
            connection, _ = listener.accept()
            served._descriptor = connection.detach()
            begin()

        served.start = start  # type: ignore[method-assign]
        try:
            yield served
        finally:
            if served._descriptor >= 0 and not served._over.is_set():
                served.unplug()
