"""A person who stands at a virtual bench: does by faults of the plant what hands would do."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from proofbath.bench.person import Act
from proofbath.virtual.bench import VirtualBench


class Deed(NamedTuple):
    """What an act is to the plant: a fault for a time."""

    kind: str
    for_s: float
    size: float = 0.0


DEEDS = {
    "press": Deed("over_stroke", 1.5, 2.0),
    "lift plunger": Deed("vent_pin", 1.5, 3.0),
}


class VirtualPerson:
    """Agrees to everything but another try, and says what is wanted."""

    def __init__(self, bench: VirtualBench, tell: Callable[[str], None] = lambda _: None) -> None:
        self._bench = bench
        self._tell = tell

    def tell(self, text: str) -> None:
        """Pass a line on."""
        self._tell(text)

    def wait(self, text: str) -> None:
        """Be ready at once."""
        self._tell(text)

    def act(self, act: Act) -> None:
        """Let the fault that stands for the act begin; raises KeyError for an unknown one."""
        self._tell(act.text)
        deed = DEEDS[act.name]
        if act.name == "press" and not self._bench.get(f"unit.{act.station}.present"):
            deed = DEEDS["lift plunger"]
        self._bench.begin(deed.kind, act.station, deed.for_s, deed.size)

    def agrees(self, question: str) -> bool:
        """Agree to all but another try."""
        return question != "Try again?"

    def reads(self, what: str, wanted: str) -> str:
        """Read what is wanted."""
        return wanted
