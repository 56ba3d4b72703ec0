"""A bench supply feeds one station at a time: its current falls to zero before a switch moves.

The sequencer goes on asking for element currents; a `Feeder` turns them into what the supply
shall give and which station's switch the controller shall close.
"""

from __future__ import annotations

from enum import Enum
from math import nan
from typing import NamedTuple

from proofbath.errors import BenchFaultError, InputError
from proofbath.run.reading import NO_CURRENT
from proofbath.wire.table import STATIONS
from proofbath.wire.watches import Watch

KEEP_CLOSED_A = 0.05
"""Set-point that closes a station's switch, yet too small for the controller to judge."""
RESIDUE_A = 0.02
"""Supply current that counts as none: a switch may move."""
SWITCH_S = 0.5
"""Time a station switch is given to open or to close."""
FALL_PATIENCE_S = 10.0
"""How long the supply may take to bring its current to zero."""


class SupplyReading(NamedTuple):
    """What the supply last said of itself."""

    t_s: float
    """Clock of whoever asked the supply."""
    order: int
    """`Feed.order` it had carried out."""
    set_a: float
    current_a: float
    terminal_v: float


class Feed(NamedTuple):
    """What supply and controller shall do until the next sample."""

    order: int
    """Counts the changes of `supply_a`, so that a reading tells which one it followed."""
    supply_a: float
    element_a: tuple[float, ...]
    """Set-points for the controller: they close a switch and bound the current it lets pass."""


class Contact(Enum):
    """Where the supply's current may go."""

    OPEN = "all station switches open"
    CLOSING = "a switch closes, no current"
    FED = "current flows"
    FALLING = "current falls to zero"
    OPENING = "a switch opens, no current"


class Feeder:
    """Leads the supply from station to station; at first every switch is open."""

    def __init__(self) -> None:
        self._order = 0
        self._supply_a = 0.0
        self._since_s = nan
        self.contact = Contact.OPEN
        self.station = 0
        """Station (1 to 6) whose switch is closed or moving; 0 is none."""

    def step(
        self, t_s: float, live: bool, asked_a: tuple[float, ...], supply: SupplyReading
    ) -> Feed:
        """Return the feed for one sample at `t_s` (controller clock).

        `live`: the controller is LIVE; when it is not, all its switches are open. Raises InputError
        when two stations are asked at once, BenchFaultError when the current does not fall.
        """
        station, current_a = wanted(asked_a)
        if not live:
            self._go(Contact.OPEN, t_s)
        elif self.contact is Contact.OPEN and station and self._is_zero(supply):
            self.station = station
            self._go(Contact.CLOSING, t_s)
        elif self.contact is Contact.CLOSING and self._waited(t_s):
            self._go(Contact.FED, t_s)
        elif self.contact is Contact.FALLING and self._is_zero(supply):
            self._go(Contact.OPENING, t_s)
        elif self.contact is Contact.OPENING and self._waited(t_s):
            self._go(Contact.OPEN, t_s)
        if self.contact in (Contact.CLOSING, Contact.FED) and station != self.station:
            self._go(Contact.FALLING, t_s)
        if self.contact is Contact.FALLING and t_s - self._since_s > FALL_PATIENCE_S:
            text = Watch.SUPPLY_STUCK.say(
                current_a=supply.current_a,
                station=self.station,
                patience_s=FALL_PATIENCE_S,
                limit_a=RESIDUE_A,
            )
            raise BenchFaultError(text)
        return self._feed(current_a)

    def _go(self, contact: Contact, t_s: float) -> None:
        if contact is not self.contact:
            self.contact, self._since_s = contact, t_s
        if contact is Contact.OPEN:
            self.station = 0

    def _waited(self, t_s: float) -> bool:
        return t_s - self._since_s >= SWITCH_S

    def _is_zero(self, supply: SupplyReading) -> bool:
        """Only a reading taken after the order for 0 A tells; NaN is not zero."""
        obeyed = supply.order == self._order and supply.set_a == 0.0
        return obeyed and abs(supply.current_a) <= RESIDUE_A

    def _feed(self, current_a: float) -> Feed:
        fed = self.contact is Contact.FED
        supply_a = current_a if fed else 0.0
        if supply_a != self._supply_a:
            self._order, self._supply_a = self._order + 1, supply_a
        if self.contact in (Contact.OPEN, Contact.OPENING):
            return Feed(self._order, supply_a, NO_CURRENT)
        closed_a = max(supply_a, KEEP_CLOSED_A)
        return Feed(
            self._order,
            supply_a,
            tuple(closed_a if n == self.station else 0.0 for n in range(1, STATIONS + 1)),
        )


def wanted(asked_a: tuple[float, ...]) -> tuple[int, float]:
    """Return the one station (1 to 6) asked to be fed and its current; (0, 0.0) for none."""
    asked = [(n, a) for n, a in enumerate(asked_a, 1) if a > 0.0]
    if len(asked) > 1:
        stations = ", ".join(str(n) for n, _ in asked)
        raise InputError(
            f"stations {stations} want current at once, a bench supply feeds 1; "
            "energise one after the other in the profile"
        )
    return asked[0] if asked else (0, 0.0)
