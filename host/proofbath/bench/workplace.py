"""Where a calibration is done: things are put in their places, references are read."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from typing import Literal, NamedTuple, Protocol

from proofbath.bench.link import Link
from proofbath.bench.start import greet

PlaceKind = Literal["ice", "steam", "comparison", "block", "resistor"]


class Spot(NamedTuple):
    """What is to be put where: probes at a temperature, a block or a resistor at a station."""

    kind: PlaceKind
    value: float = 0.0
    """°C, mm or ohm as the kind has it."""
    station: int = 0


class Workplace(Protocol):
    """A bench with somebody who puts things in place and reads references."""

    clear_trip: bool
    """Whether a latched trip may be cleared where something is to be energised."""

    def at(self, spot: Spot) -> AbstractContextManager[Link]:
        """Give the link once everything is in its place."""

    def flows(self, what: str, for_s: float) -> None:
        """Say that a current flows now, so that its reference is read."""

    def reads(self, what: str, unit: str, usual: float | None = None) -> float:
        """Return what a reference shows, or showed while the current flowed."""


class Asks(Protocol):
    """How a person is spoken to."""

    def tell(self, text: str) -> None:
        """Show a line."""

    def wait(self, text: str) -> None:
        """Show what is to be done and return when it is."""

    def number(self, text: str, usual: float | None) -> float:
        """Return the number a person reads."""


WORDS = {
    "ice": (
        "ICE POINT. Fill a vacuum flask with finely crushed ice of clean water, just wet through."
        " Put both probes together into its middle, at least 60 mm deep, and wait 10 minutes."
        " A trip of the controller is to be expected: it heats nothing and is cleared later."
    ),
    "steam": (
        "STEAM POINT. Scald hazard: steam burns worse than water; gloves, glasses, open vents, no"
        " closed vessel. Boil plain water in a separate vessel, never the bath's glycol. Hang both"
        " probes together in the steam, above the water, and wait 10 minutes."
    ),
    "comparison": (
        "COMPARISON at about {value:g} °C. Hot liquid scalds. Put both probes and the reference"
        " thermometer together into a stirred vessel, at least 60 mm deep, and keep it steady."
    ),
    "block": (
        "GAUGE of station {station}: the bath cold, the element feed off. Put {value:g} mm under"
        " the gauge, clean and square."
    ),
    "resistor": (
        "ELEMENT of station {station}: isolate the mains before you touch the wiring. Connect"
        " {value:g} ohm in the element's place, with the reference ammeter in series. It gets hot:"
        " keep it clear of anything that burns. Keep your hands off while the current flows."
    ),
}


class BenchWorkplace:
    """A real bench, its link held open from first to last."""

    def __init__(self, link: Link, asks: Asks, clear_trip: bool) -> None:
        self.clear_trip = clear_trip
        self._link, self._asks = link, asks

    @contextmanager
    def at(self, spot: Spot) -> Iterator[Link]:
        """Say what to put where, wait for it, and give the link."""
        self._asks.wait(WORDS[spot.kind].format(**spot._asdict()))
        greet(self._link)  # reads away what came in meanwhile
        yield self._link

    def flows(self, what: str, for_s: float) -> None:
        """Tell the person to look."""
        self._asks.tell(f"The current flows for {for_s:.0f} s: read the {what} now.")

    def reads(self, what: str, unit: str, usual: float | None = None) -> float:
        """Ask the person."""
        return self._asks.number(f"{what} in {unit}", usual)
