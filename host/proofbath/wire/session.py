"""Session rules without I/O: bytes from the controller become checked events, in order."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple, TypeVar

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

_Whole = TypeVar("_Whole", bound=Any)
_HALF = (U32 + 1) // 2
CLOCK_SLACK_MS = 500
"""How far a sample's clock may stand from its sequence before a second line must confirm it."""
PASS_MOST_MS = 1000
"""A pass of the controller that takes longer ends in a restart by its watchdog."""


class Sampled(NamedTuple):
    """A sample in order: `time_ms` is the unwrapped device clock, `missing` the lost samples."""

    sample: Sample
    time_ms: int
    missing: int
    slip_ms: int = 0
    """How far the clock left the sequence since the sample before; 0 in a healthy run."""


def clock_slip_ms(steps: _Whole, clock_ms: _Whole) -> _Whole:
    """Return how far a clock left the sequence, signed; `clock_ms` is the raw difference.

    Takes whole numbers, one or an array of them.
    """
    slip_ms: _Whole = (clock_ms - steps * TICK_MS + _HALF) % (U32 + 1) - _HALF
    return slip_ms


def passed_ms(steps: int, clock_ms: int) -> int:
    """Return the milliseconds between two samples of one boot, never fewer than 0.

    The clock is right, as a late pass of the controller makes a late sample. Where no controller
    that lives can have been so late, or the clock went back, the sequence is right.
    """
    time_ms = steps * TICK_MS + clock_slip_ms(steps, clock_ms)
    return time_ms if 0 < time_ms <= steps * PASS_MOST_MS + CLOCK_SLACK_MS else steps * TICK_MS


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
        self._doubted: Sample | None = None
        """The newest sample whose clock disagrees with its sequence; one that fits it is proof."""
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
        self._doubted = None
        return [] if first else [Rebooted(boot_id)]

    def _sample(self, sample: Sample) -> list[Event]:
        events = self._boot(sample.boot_id)
        if sample.boot_id != self._boot_id:
            return [Garbled(f"boot {sample.boot_id} is not confirmed by a second line")]
        last, doubted = self._last, self._doubted
        missing = slip_ms = 0
        if last is None:
            self._time_ms = sample.device_ms
        else:
            steps = sample.sequence - last.sequence
            if steps <= 0:
                return [Garbled(f"sample {sample.sequence} is not newer")]
            clock_ms = sample.device_ms - last.device_ms
            if not _agree(last, sample):
                if doubted is None or not _agree(doubted, sample):
                    self._doubted = sample
                    return [Garbled(f"sample {sample.sequence} disagrees with its clock")]
                slip_ms = clock_slip_ms(steps, clock_ms)
            self._time_ms += passed_ms(steps, clock_ms)
            missing = steps - 1
        self._last, self._doubted = sample, None
        events.append(Sampled(sample, self._time_ms, missing, slip_ms))
        return events


def _agree(before: Sample, then: Sample) -> bool:
    """Whether a sample is newer than another, by its clock as by its sequence."""
    steps = then.sequence - before.sequence
    slip_ms = clock_slip_ms(steps, then.device_ms - before.device_ms)
    return steps > 0 and abs(slip_ms) <= CLOCK_SLACK_MS
