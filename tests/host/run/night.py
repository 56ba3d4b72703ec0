"""A sequencer and a simple bench that speak with each other, for tests of whole runs."""

from __future__ import annotations

from host.run.workshop import SHORT, TEAL_82
from host.simple_bath import WORKSHOP, SimpleBench
from proofbath.control.bath_model import BathModel
from proofbath.run.note import Note
from proofbath.run.profile import PLAIN, Loading, Step, resolve
from proofbath.run.sequencer import Sequencer
from proofbath.run.states import Phase
from proofbath.wire.table import State


class Night:
    """A sequencer and a bench that speak with each other."""

    def __init__(
        self,
        steps: list[Step] = SHORT,
        bath_c: float = 38.0,
        loading: Loading = PLAIN,
        model: BathModel = WORKSHOP,
    ) -> None:
        self.bench = SimpleBench(model, bath_c)
        self.sequencer = Sequencer(resolve(steps, TEAL_82, 103.0, loading), model)
        self.notes: list[Note] = []
        self.bath_c: list[float] = []

    def tick(self) -> None:
        reading = self.bench.reading()
        self.bench.take(self.sequencer.step(reading))
        self.bath_c.append(reading.bath_c)
        self.notes += self.sequencer.take_notes()

    def until(self, phase: Phase, longest_s: float = 7200.0) -> Night:
        for _ in range(round(longest_s * 10)):
            if self.sequencer.phase is phase:
                return self
            self.tick()
        raise AssertionError(f"still {self.sequencer.phase} after {longest_s} s")

    def lose_the_lease(self, seconds: float) -> None:
        """Demands get lost: the controller falls back to READY and the heater is off."""
        for _ in range(round(seconds * 10)):
            self.bench.state, self.bench.demand = State.READY, None
            self.sequencer.step(self.bench.reading())
        self.bench.state = State.READY

    def said(self, *codes: str) -> list[Note]:
        return [note for note in self.notes if note.code in codes]

    def warned(self) -> list[Note]:
        """Everything that is not as it should be, of whatever kind."""
        return self.said("warning", "alarm", "late")
