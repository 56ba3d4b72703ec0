"""Session rules without I/O: bytes from the controller become checked events, in order."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from proofbath.errors import LineError
from proofbath.wire.line import decode
from proofbath.wire.table import (
    LINE_MAX,
    TICK_MS,
    U32,
    Identity,
    LimitsInForce,
    Refused,
    Sample,
    Trip,
)

CLOCK_SLACK_MS = 500
"""How far a sample's clock may stand from its sequence before the line is not believed."""


class Sampled(NamedTuple):
    """A sample in order: `time_ms` is the unwrapped device clock, `missing` the lost samples."""

    sample: Sample
    time_ms: int
    missing: int


@dataclass(frozen=True, slots=True)
class Rebooted:
    """The controller started anew; said once two lines carry the new boot_id."""

    boot_id: int


@dataclass(frozen=True, slots=True)
class Garbled:
    """A line was dropped, with the reason."""

    reason: str


@dataclass(frozen=True, slots=True)
class LinkSilent:
    """The port edge saw no valid sample for a second of wall time."""


@dataclass(frozen=True, slots=True)
class Disconnected:
    """The port edge lost the port."""

    reason: str


Event = (
    Sampled
    | Rebooted
    | Garbled
    | LinkSilent
    | Disconnected
    | Identity
    | LimitsInForce
    | Refused
    | Trip
)


class Session:
    """One conversation with a controller; feed it bytes in any portions."""

    def __init__(self) -> None:
        self._buffer = b""
        self._skipping = False
        self._boot_id: int | None = None
        self._rumoured_boot_id: int | None = None
        self._last: Sample | None = None
        self._time_ms = 0

    def feed(self, data: bytes) -> list[Event]:
        """Take received bytes and return what they complete; a line too long is dropped."""
        *lines, rest = (self._buffer + data).split(b"\n")
        events: list[Event] = []
        for line in lines:
            if self._skipping:
                self._skipping = False
                events.append(Garbled(f"line longer than {LINE_MAX} bytes"))
            else:
                events += self._line(line)
        if len(rest) >= LINE_MAX:
            self._skipping = True
        self._buffer = b"" if self._skipping else rest
        return events

    def _line(self, line: bytes) -> list[Event]:
        try:
            message = decode(line)
        except LineError as error:
            return [Garbled(str(error))]
        if isinstance(message, Sample):
            return self._sample(message)
        if isinstance(message, Identity):
            return [*self._boot(message.boot_id), message]
        if isinstance(message, (LimitsInForce, Refused, Trip)):
            return [message]
        return [Garbled(f"{type(message).__name__.lower()} is the host's word, not ours to read")]

    def _boot(self, boot_id: int) -> list[Event]:
        if boot_id == self._boot_id:
            self._rumoured_boot_id = None
            return []
        first = self._boot_id is None
        if not first and boot_id != self._rumoured_boot_id:
            self._rumoured_boot_id = boot_id
            return []
        self._boot_id, self._rumoured_boot_id, self._last = boot_id, None, None
        return [] if first else [Rebooted(boot_id)]

    def _sample(self, sample: Sample) -> list[Event]:
        events = self._boot(sample.boot_id)
        if sample.boot_id != self._boot_id:
            return [Garbled(f"boot {sample.boot_id} is not confirmed by a second line")]
        if self._last is None:
            self._last, missing = sample, 0
            self._time_ms = sample.device_ms
        else:
            steps = sample.sequence - self._last.sequence
            if steps <= 0:
                return [Garbled(f"sample {sample.sequence} is not newer")]
            passed_ms = (sample.device_ms - self._last.device_ms) % (U32 + 1)
            if abs(passed_ms - steps * TICK_MS) > CLOCK_SLACK_MS:
                return [Garbled(f"sample {sample.sequence} disagrees with its clock")]
            self._time_ms += passed_ms
            self._last, missing = sample, steps - 1
        events.append(Sampled(sample, self._time_ms, missing))
        return events
