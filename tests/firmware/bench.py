"""A host of few lines for the tests: it keeps a demand alive on the virtual bench, tick by tick."""

from __future__ import annotations

import ctypes
from collections.abc import Iterator
from typing import TypeVar

from proofbath.wire.line import decode, encode
from proofbath.wire.table import (
    OFFSET_MIDDLE,
    PROTOCOL,
    STATIONS,
    TICK_MS,
    BootCause,
    Clear,
    Demand,
    Hello,
    Identity,
    Limits,
    LimitsInForce,
    Message,
    Output,
    Sample,
    State,
)

M = TypeVar("M", bound=Message)

TICK_S = TICK_MS / 1000
OFF = (0,) * STATIONS


def probe_sum(t_c: float) -> int:
    """Sum of four codes of a Pt100 at a temperature of 0 degC or more (IEC 60751)."""
    ohm = 100 * (1 + 3.9083e-3 * t_c - 5.775e-7 * t_c * t_c)
    return round(ohm / 400 * 32768 * 4)


USUAL = Limits(
    probe_sum(115), probe_sum(118), 504, OFFSET_MIDDLE, 315, 36000, 0, 0,
    (2400,) * 6, (3600,) * 6, (25,) * 6, (4075,) * 6, (3000,) * 6, 0, 0, (0,) * 6,
)  # fmt: skip


class Bench:
    """A controller and its plant in the native library, with what it last said."""

    def __init__(self, library: ctypes.CDLL, seed: int = 1, **parameters: float) -> None:
        self._library = library
        self._handle = library.pb_create(seed)
        self._out = ctypes.create_string_buffer(65536)
        for station in range(1, STATIONS + 1):
            self.set(f"unit.{station}.present", 1)
        for key, value in parameters.items():
            self.set(key.replace("__", "."), value)
        self.said: list[Message] = []
        self.sample: Sample
        self.tick(Hello(PROTOCOL))

    def __del__(self) -> None:
        self._library.pb_destroy(self._handle)

    def set(self, key: str, value: float) -> None:
        assert self._library.pb_set(self._handle, key.encode(), value) == 0, key

    def get(self, key: str) -> float:
        return float(self._library.pb_get(self._handle, key.encode()))

    def fault(self, kind: str, station: int, size: float = 0.0, last_s: float = 1e9) -> None:
        """Begin a fault now."""
        now_s = self.get("time_s")
        end_s = now_s + last_s
        assert self._library.pb_fault(self._handle, kind.encode(), station, now_s, end_s, size) == 0

    def boot(self, cause: BootCause) -> None:
        self._library.pb_boot(self._handle, cause)
        self.tick(Hello(PROTOCOL))

    def tick(self, *messages: Message) -> Sample:
        """Pass one tick with these lines from the host; remember what the controller says."""
        data = b"".join(map(encode, messages))
        count = self._library.pb_advance(self._handle, data, len(data), self._out, 65536)
        self.said = [decode(line) for line in self._out.raw[:count].splitlines()]
        self.sample = self.last(Sample)
        return self.sample

    def last(self, kind: type[M]) -> M:
        return next(m for m in reversed(self.said) if isinstance(m, kind))

    def ready(self, limits: Limits = USUAL) -> None:
        """Set limits and clear the trip of power-on, as a person does in the evening."""
        self.tick(limits)
        assert self.last(LimitsInForce) == (1, *limits)
        self.tick(Hello(PROTOCOL))
        self.tick(Clear(self.last(Identity).trip_number))
        assert self.sample.state == State.READY

    def hold(
        self, seconds: float, duty: int = 0, element_code: tuple[int, ...] = OFF, cooling: int = 0
    ) -> Iterator[Sample]:
        """Keep a demand alive with the stirrer on; yields each sample."""
        for _ in range(round(seconds / TICK_S)):
            at = self.sample
            yield self.tick(Demand(at.boot_id, at.sequence, 2000, duty, 1, cooling, element_code))

    def outputs_off(self, *, set_points: bool = True) -> bool:
        """Whether contactor, heater, element feed and stations are off at the pins.

        `set_points` asks for those of the DAC too, which a broken bus may not reach.
        """
        names = ["contactor", "heater", "element_feed"]
        names += [f"station_switch.{s}" for s in range(1, 7)]
        names += [f"element_code.{s}" for s in range(1, 7)] * set_points
        heating = Output.CONTACTOR | Output.HEATER | Output.ELEMENT_FEED
        return not any(self.get(f"output.{n}") for n in names) and not self.sample.outputs & heating
