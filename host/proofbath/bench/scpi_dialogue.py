"""Question and answer with an instrument that speaks SCPI, in lines over a byte stream.

Anything but the answer that was asked for, in time, is a BenchFaultError.
"""

from __future__ import annotations

import re
from typing import Protocol

from proofbath.bench.clock import Clock
from proofbath.errors import BenchFaultError

LONGEST_ANSWER = 512
ERRORS_MOST = 32
"""Entries read from an error queue before it counts as one that does not empty."""
NO_NUMBER = 9.9e37
"""SCPI-99 volume 1, 7.2.1.4 and 7.2.1.5: infinity; not-a-number lies just above it."""
_ERROR = re.compile(r'([+-]?\d{1,5})\s*,\s*"?(.*?)"?')
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)(E[+-]?\d{1,3})?", re.IGNORECASE)
_SWITCH = {"0": False, "OFF": False, "1": True, "ON": True}
_DRAIN_READS = 16


class LineStream(Protocol):
    """A byte stream that is already open."""

    def read(self) -> bytes:
        """Return what has arrived, after a short wait at most; empty when nothing has."""

    def waiting(self) -> bool:
        """Return whether `read` would return at once: bytes have come, or the line is lost."""

    def write(self, data: bytes) -> None:
        """Send all of `data`."""

    def close(self) -> None:
        """Let go of the stream."""


class Dialogue:
    """One instrument's line; `in_step` is false while a stale answer may still come."""

    def __init__(self, name: str, stream: LineStream, timeout_s: float, clock: Clock) -> None:
        self._name = name
        self._stream = stream
        self._timeout_s = timeout_s
        self._clock = clock
        self.in_step = False

    def tell(self, command: str) -> None:
        """Send a command that has no answer."""
        self._stream.write(command.encode("ascii") + b"\n")

    def ask(self, query: str, patience_s: float = 0.0) -> str:
        """Return the answer to a query, waiting for the timeout or `patience_s` if longer."""
        was_in_step, self.in_step = self.in_step, False
        if self._stream.waiting() and (unasked := self._stream.read()):
            raise self.fault(f"talks unasked ({unasked[:20]!r}) before {query}")
        self.tell(query)
        line = self._line(query, max(patience_s, self._timeout_s))
        try:
            text = line.decode("ascii").strip()
        except UnicodeDecodeError:
            text = ""
        if not text or not text.isprintable():
            raise self.fault(f"answers {query} with garbage ({line[:20]!r})")
        self.in_step = was_in_step
        return text

    def number(self, query: str) -> float:
        """Return a numeric answer; SCPI's infinities and not-a-number are faults."""
        text = self.ask(query)
        if not _NUMBER.fullmatch(text) or abs(float(text)) >= NO_NUMBER:
            self.in_step = False
            raise self.fault(f"answers {query} with {text[:40]!r}, not a number")
        return float(text)

    def switch(self, query: str) -> bool:
        """Return an on-or-off answer."""
        text = self.ask(query)
        if text.upper() not in _SWITCH:
            self.in_step = False
            raise self.fault(f"answers {query} with {text[:40]!r}, not 0 or 1")
        return _SWITCH[text.upper()]

    def check(self, command: str) -> None:
        """Empty the error queue; raises BenchFaultError when `command` left anything in it."""
        errors = list[str]()
        for _ in range(ERRORS_MOST):
            answer = self.ask("SYST:ERR?")
            match = _ERROR.fullmatch(answer)
            if not match:
                self.in_step = False
                raise self.fault(f"answers SYST:ERR? with {answer[:40]!r}, not an error entry")
            if int(match[1]) == 0:
                break
            errors.append(f"{int(match[1])} {match[2]}")
        else:
            raise self.fault(
                f"has over {ERRORS_MOST} errors in its queue after {command!r}, "
                f"the first {errors[0]}"
            )
        if errors:
            raise self.fault(f"reports after {command!r}: {'; '.join(errors[:3])}")

    def resync(self) -> None:
        """Let stale answers pass by until the line is quiet."""
        for _ in range(_DRAIN_READS):
            if not self._stream.read():
                self.in_step = True
                return
        raise self.fault("does not stop talking")

    def fault(self, what: str) -> BenchFaultError:
        """Return the error that says `what` the instrument did and what to do."""
        return BenchFaultError(
            f"{self._name}: {what}; check that it is the right instrument, "
            "its cable and its settings"
        )

    def _line(self, query: str, patience_s: float) -> bytes:
        end_s = self._clock() + patience_s
        got = b""
        while b"\n" not in got:
            got += self._stream.read()
            if len(got) > LONGEST_ANSWER:
                raise self.fault(f"answers {query} with over {LONGEST_ANSWER} bytes")
            if b"\n" not in got and self._clock() >= end_s:
                raise self.fault(
                    f"no answer to {query} within {patience_s:g} s ({len(got)} bytes came)"
                )
        line, _, more = got.partition(b"\n")
        if more:
            raise self.fault(f"answers {query} with more than one line")
        return line
