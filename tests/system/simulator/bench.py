"""The firmware tests' host on the simulator: the AVR binary instead of the native library."""

from __future__ import annotations

from collections import deque
from pathlib import Path
from typing import NamedTuple

from firmware.bench import Bench, M
from proofbath.bench.simulator_port import Simulator
from proofbath.errors import LineError
from proofbath.virtual.description import VirtualSection
from proofbath.wire.line import decode, encode
from proofbath.wire.table import PROTOCOL, STATIONS, BootCause, Hello, Message, Sample


class Change(NamedTuple):
    """An output that changed on its pin."""

    at_us: int
    name: str
    on: bool


class SimulatedBench(Bench):
    """A controller's binary and its plant, with what it last said."""

    def __init__(
        self, elf: Path, seed: int = 1, options: tuple[str, ...] = (), **parameters: float
    ) -> None:
        self.simulator = Simulator(elf, VirtualSection(), seed=seed, options=options)
        for station in range(1, STATIONS + 1):
            self.set(f"unit.{station}.present", 1)
        for key, value in parameters.items():
            self.set(key.replace("__", "."), value)
        self.said: list[Message] = []
        self._lately: deque[Message] = deque(maxlen=20)
        self.garbled: list[bytes] = []
        """Lines that were none, e.g. cut off by a reset."""
        self._rest = b""
        self.tick()

    def __del__(self) -> None:
        """Leave the ending to the fixture."""

    def set(self, key: str, value: float) -> None:
        self.simulator.command(f"set {key} {value!r}")

    def get(self, key: str) -> float:
        return self.simulator.get(key)

    def fault(self, kind: str, station: int, size: float = 0.0, last_s: float = 1e9) -> None:
        now_s = self.get("time_s")
        self.simulator.command(f"fault {kind} {station} {now_s!r} {now_s + last_s!r} {size!r}")

    def boot(self, cause: BootCause) -> None:
        self.simulator.boot(cause)
        self.tick()  # what comes while it starts is lost, as on a real port
        self.tick(Hello(PROTOCOL))

    def tick(self, *messages: Message) -> Sample:
        return self.send(b"".join(map(encode, messages)))

    def send(self, data: bytes) -> Sample:
        """Pass one tick with any bytes from the host; remember what the controller says."""
        self.hear(self.simulator.advance(data))
        samples = [m for m in self.said if isinstance(m, Sample)]
        if samples:
            self.sample = samples[-1]
        return self.sample

    def hear(self, data: bytes) -> None:
        """Take bytes of the controller."""
        *lines, self._rest = (self._rest + data).split(b"\n")
        self.said = []
        for line in lines:
            try:
                message = decode(line)
                self.said.append(message)
                self._lately.append(message)
            except LineError:
                self.garbled.append(line)

    def last(self, kind: type[M]) -> M:
        """Return the newest message of a kind; it may have come a tick before its sample."""
        return next(m for m in reversed(self._lately) if isinstance(m, kind))

    def changes(self) -> list[Change]:
        """Return the outputs that changed on their pins since last asked."""
        found = []
        for text in self.simulator.command("changes").split():
            at_us, _, change = text.partition(":")
            name, _, on = change.partition("=")
            found.append(Change(int(at_us), name, on == "1"))
        return found

    def now_us(self) -> int:
        """Return the simulator's time."""
        return int(self.simulator.command("advance 0 0").split()[0])
