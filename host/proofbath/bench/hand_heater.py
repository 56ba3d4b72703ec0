"""The current of an element on the bench top: from a supply that speaks SCPI, or set by hand.

No controller opens a switch here, so a supply is switched off when nobody types for a while.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from threading import Event
from typing import NamedTuple, Protocol

from pydantic import field_validator

from proofbath.bench.clock import Clock
from proofbath.bench.scpi_worker import SupplyWorker
from proofbath.bench.supply_description import SupplySettings
from proofbath.curve.hand_record import MOST_A
from proofbath.errors import BenchFaultError, InputError

PATIENCE_S = 10.0
ALONE_S = 300.0
"""Without a reading for this long a supply goes off by itself."""
LOOK_S = 0.02


class Fed(NamedTuple):
    """What the element gets; the voltage is NaN where nobody read it."""

    element_a: float
    element_v: float = math.nan


OFF = Fed(0.0)
SWITCH_OFF = "Switch the supply's output OFF now."


class HandSupply(SupplySettings):
    """A supply on the bench top: its leads go straight to the element, a person stands by."""

    @field_validator("station_switch")
    @classmethod
    def _has_switch(cls, given: bool) -> bool:
        return given


class HandHeater(Protocol):
    """What feeds the element."""

    def set_current(self, current_a: float) -> None:
        """Give a current, 0 being off; raises InputError above the greatest allowed."""

    def fed(self) -> Fed:
        """Return what the element gets now."""


class SetByHand:
    """A person sets the supply and says what it shows."""

    def __init__(self, tell: Callable[[str], None], volts: Callable[[], float]) -> None:
        self._tell = tell
        self._volts = volts
        self._fed = OFF

    def set_current(self, current_a: float) -> None:
        """Have the person do it; Left comes out of the question for the volts."""
        if current_a == 0.0:
            self._tell(SWITCH_OFF)
            self._fed = OFF
            return
        if current_a > MOST_A:
            raise InputError(f"{current_a:g} A, an element takes 0 to {MOST_A:g}; set less")
        self._tell(f"Set the supply to {current_a:g} A, output on.")
        self._fed = Fed(current_a, self._volts())

    def fed(self) -> Fed:
        """Return what the person said."""
        return self._fed


class SetByScpi:
    """A supply sets itself; it is kept on by readings alone."""

    def __init__(self, worker: SupplyWorker, clock: Clock) -> None:
        self._worker = worker
        self._clock = clock
        self._order = 0
        self._current_a = 0.0

    def set_current(self, current_a: float) -> None:
        """Set it and wait until it is so; raises BenchFaultError when it is not."""
        self._worker.post(self._order + 1, current_a, self._clock())
        self._order, self._current_a = self._order + 1, current_a
        end_s = self._clock() + PATIENCE_S
        while self._worker.peek(self._clock()).order != self._order:
            if self._clock() > end_s:
                raise BenchFaultError(
                    f"supply: {current_a:g} A not set within {PATIENCE_S:g} s; switch it off by"
                    " hand and look at its cable"
                )
            Event().wait(LOOK_S)

    def fed(self) -> Fed:
        """Return the read-back and keep the supply on; off where it went off by itself."""
        now_s = self._clock()
        reading = self._worker.peek(now_s)
        if reading.set_a == 0.0:
            self._current_a = 0.0
            return OFF
        self._worker.post(self._order, self._current_a, now_s)
        return Fed(max(reading.current_a, 0.0), max(reading.terminal_v, 0.0))
