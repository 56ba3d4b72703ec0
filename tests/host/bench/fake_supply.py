"""A bench supply on loopback: real SCPI bytes, a resistive load, and misbehaviour when wanted.

Load model: constant current until the voltage limit is reached, constant voltage above
(Ohm's law: the current is the least of the set one and limit / resistance).
"""

from __future__ import annotations

import csv
from collections import deque
from collections.abc import Callable
from pathlib import Path
from socketserver import StreamRequestHandler, ThreadingTCPServer
from threading import Condition, Event, Thread
from types import TracebackType
from typing import Self

# SCPI-99 volume 2, 21.8: numbers and texts of the error queue.
with (Path(__file__).parents[2] / "data" / "scpi_error_numbers.csv").open() as file:
    ERROR_TEXT = {int(row["number"]): row["text"] for row in csv.DictReader(file)}
QUEUE_LENGTH = 10
IDENTITY = "River Ferry Works,Test Supply,17,1.0"
PATIENCE_S = 5.0


class _Handler(StreamRequestHandler):
    def handle(self) -> None:
        supply = self.server.supply  # type: ignore[attr-defined]
        supply.connections += 1
        for line in self.rfile:
            answer = supply.take(line.decode("ascii").strip())
            if answer is None:
                return
            self.wfile.write(answer)


class _Server(ThreadingTCPServer):
    daemon_threads = True
    supply: FakeSupply

    def handle_error(self, request: object, client_address: object) -> None:
        """A client that goes away is no error of the supply."""


class FakeSupply:
    """`misbehaves` may be changed at any time: silent, garbage, drops, ..."""

    def __init__(self, ohm: float = 15.0, most_a: float = 2.0) -> None:
        self.ohm = ohm
        self.most_a = most_a
        self.misbehaves = ""
        self.gate = Event()
        """Cleared, the supply takes nothing in and answers nothing."""
        self.gate.set()
        self.connections = 0
        self.log: list[str] = []
        self.volt, self.ampere, self.on = 0.0, 0.0, False
        self._errors = deque[int]()
        self._change = Condition()
        self._server = _Server(("127.0.0.1", 0), _Handler)
        self._server.supply = self
        self._thread = Thread(target=self._server.serve_forever, args=(0.01,))

    @property
    def url(self) -> str:
        return f"socket://127.0.0.1:{self._server.server_address[1]}"

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.gate.set()
        self._server.shutdown()
        self._thread.join()
        self._server.server_close()

    def current_a(self) -> float:
        return min(self.ampere, self.volt / self.ohm) if self.on else 0.0

    def wait_until(self, happened: Callable[[FakeSupply], bool]) -> None:
        """Wait for what a further command brings about."""
        with self._change:
            assert self._change.wait_for(lambda: happened(self), PATIENCE_S), self.log[-20:]

    def wait_logged(self, commands: int) -> None:
        self.wait_until(lambda s: len(s.log) >= commands)

    def wait_polled(self) -> None:
        """Wait until a whole poll has begun and ended after now."""
        seen = self.log.count("OUTP?")
        self.wait_until(lambda s: s.log.count("OUTP?") >= seen + 3)

    def add_error(self, number: int) -> None:
        """SCPI-99 volume 2, 21.8.1: first in, first out; an overflow replaces the last by -350."""
        if len(self._errors) == QUEUE_LENGTH:
            self._errors[-1] = -350
        else:
            self._errors.append(number)

    def take(self, line: str) -> bytes | None:
        """Return the answer to one line; None hangs up."""
        self.gate.wait()
        with self._change:
            if line:
                self.log.append(line)
            answer = self._answer(line)
            self._change.notify_all()
        if self.misbehaves == "drops" and line.endswith("?"):
            self.misbehaves = ""
            return None
        if not answer or self.misbehaves == "silent":
            return b""
        if self.misbehaves == "garbage":
            return b"\xff\x81\x00\x07\n"
        if self.misbehaves == "endless":
            return b"7" * 600
        if self.misbehaves == "chatters":
            return f"{answer}\n{answer}\n".encode()
        return f"{answer}\r\n".encode()

    def _answer(self, line: str) -> str:
        header, _, value = line.upper().partition(" ")
        measured_a = self.current_a()
        answers: dict[str, Callable[[], str]] = {
            "*IDN?": lambda: IDENTITY,
            "*OPC?": lambda: "1",
            "SYST:ERR?": self._next_error,
            "OUTP?": lambda: "0" if self.misbehaves == "lies" else str(int(self.on)),
            "VOLT?": lambda: f"{self.volt:.3E}",
            "CURR?": lambda: f"{self.ampere:.4f}",
            "MEAS:CURR?": lambda: self._measured(measured_a),
            "MEAS:VOLT?": lambda: f"{measured_a * self.ohm:.4f}",
        }
        if header in answers:
            return answers[header]()
        self._obey(header, value)
        return ""

    def _measured(self, value: float) -> str:
        # SCPI-99 volume 1, 7.2.1.5: 9.91E37 stands for not-a-number.
        return {"no number": "9.91E37", "words": "about one"}.get(self.misbehaves, f"{value:+.4E}")

    def _next_error(self) -> str:
        if self.misbehaves == "queue full":
            return '-350,"Queue overflow"'
        number = self._errors.popleft() if self._errors else 0
        return f'{number:+d},"{ERROR_TEXT[number]}"'

    def _obey(self, header: str, value: str) -> None:
        if header in ("*RST", "*CLS"):
            self._errors.clear()
            if header == "*RST":
                self.volt, self.ampere, self.on = 0.0, 0.0, False
        elif header == "OUTP" and value in ("ON", "OFF"):
            if value == "ON" or self.misbehaves not in ("ignores off", "lies"):
                self.on = value == "ON"
        elif header in ("VOLT", "CURR"):
            self._set(header, value)
        elif header != "SYST:REM":
            self.add_error(-113)

    def _set(self, header: str, value: str) -> None:
        if not value:
            self.add_error(-109)
        elif float(value) > (self.most_a if header == "CURR" else 30.0):
            self.add_error(-222)
        elif header == "VOLT":
            self.volt = float(value)
        elif self.misbehaves not in ("lies", "keeps current"):
            self.ampere = float(value)
