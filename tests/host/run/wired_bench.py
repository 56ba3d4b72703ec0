"""A simple bench whose stations carry elements that warm, for tests of their checks."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

from host.run.workshop import TEAL_82
from host.simple_bath import TICK_S, WORKSHOP, SimpleBench
from proofbath.run.element_steps import with_element_checks
from proofbath.run.elements import Elements, GuardInForce
from proofbath.run.note import Note
from proofbath.run.profile import Energise, Loading, PlannedStep, Soak, Step, resolve
from proofbath.run.reading import NO_CURRENT, RELEASE, Demand, Reading
from proofbath.run.sequencer import Sequencer
from proofbath.run.states import Phase
from proofbath.wire.table import STATIONS, State

FED_TWO = Loading(max_a=(0.9, 0.9, 0.0, 0.0, 0.0, 0.0), ohm=(15.0,) * 6)
"""Stations 1 and 2 have element heaters."""
HEATED: list[Step] = [
    Soak(cycle=1, to_c=60.0, at_least_s=60.0),
    Energise(cycle=1, element_a=0.9, at_least_s=60.0, at_most_s=61.0),
]


class Core(NamedTuple):
    """An element: resistance at 25 °C, its growth, and how its core stands over the bath."""

    ohm: float = 15.0
    per_k: float = 2e-4
    k_per_w: float = 1.9
    lag_s: float = 5.0


WET = Core()
DRY = Core(k_per_w=60.0, lag_s=600.0)
"""Air round it: 0.1 K/s a watt, far from any end."""
WAXLESS = Core(k_per_w=12.0, lag_s=3.0)


class WiredBench(SimpleBench):
    """Feeds its elements what is asked while it is live; gives back on a lease of 0."""

    def __init__(self, cores: dict[int, Core], bath_c: float = 22.0) -> None:
        super().__init__(WORKSHOP, bath_c)
        self.cores = cores
        self.over_k = [0.0] * STATIONS
        self.fed_a: set[tuple[int, float]] = set()

    def reading(self) -> Reading:
        live = self.demand is not None and self.state is State.LIVE
        asked_a = self.demand.element_a if live and self.demand else NO_CURRENT
        shown = [self._flow(n, asked_a[n - 1]) for n in range(1, STATIONS + 1)]
        self.element_a, self.element_v = map(tuple, zip(*shown, strict=True))
        return super().reading()

    def _flow(self, station: int, asked_a: float) -> tuple[float, float]:
        core = self.cores.get(station)
        if core is None:
            return 0.0, 0.0
        over_k = self.over_k[station - 1]
        ohm = core.ohm * (1.0 + core.per_k * (self.bath.bath_c + over_k - 25.0))
        settles_k = core.k_per_w * asked_a * asked_a * ohm
        self.over_k[station - 1] += (settles_k - over_k) * TICK_S / core.lag_s
        if asked_a:
            self.fed_a.add((station, round(asked_a, 3)))
        return asked_a, asked_a * ohm

    def take(self, demand: Demand | None) -> None:
        if demand is RELEASE:
            self.demand, self.state = None, State.READY
        else:
            super().take(demand)


class WiredNight:
    """A run on a wired bench, with the part the loop plays when limits are written."""

    def __init__(
        self,
        cores: dict[int, Core],
        attended: bool = False,
        bath_c: float = 22.0,
        before: str = "",
        takes_limits: bool = True,
        steps: Sequence[PlannedStep] = HEATED,
    ) -> None:
        self.bench = WiredBench(cores, bath_c)
        self.legs = with_element_checks(resolve(steps, TEAL_82, 103.0, FED_TWO), False)
        self.elements = Elements(attended, before)
        self.sequencer = Sequencer(self.legs, WORKSHOP, elements=self.elements)
        self.notes: list[Note] = []
        self._takes_limits = takes_limits

    def tick(self) -> None:
        self.bench.take(self.sequencer.step(self.bench.reading()))
        codes = self.sequencer.guard_to_set
        if codes is not None and self.bench.state is State.READY and self._takes_limits:
            self.sequencer.step(GuardInForce(codes))
        self.notes += self.sequencer.take_notes()

    def run(self) -> WiredNight:
        return self._on(lambda: self.sequencer.ended)

    def until(self, phase: Phase) -> WiredNight:
        return self._on(lambda: self.sequencer.phase is phase)

    def _on(self, there: Callable[[], bool], longest_s: float = 7200.0) -> WiredNight:
        for _ in range(round(longest_s * 10)):
            if there():
                return self
            self.tick()
        raise AssertionError(f"still {self.sequencer.phase} after {longest_s} s")

    def said(self, code: str) -> list[str]:
        return [note.text for note in self.notes if note.code == code]

    def of_stations(self, code: str) -> list[str]:
        return [text for text in self.said(code) if text.startswith("station")]

    def was_fed(self, station: int) -> bool:
        """Whether the step's own 0.9 A flowed."""
        return (station, 0.9) in self.bench.fed_a
