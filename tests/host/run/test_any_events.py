"""The sequencer under events in any order, drawn by hypothesis."""

from __future__ import annotations

import math

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, rule

from host.run.workshop import ASSISTED, POWERED, TEAL_82
from host.simple_bath import WORKSHOP, SimpleBench
from proofbath.run.acts import Finish, Pause, Resume, Stop
from proofbath.run.profile import resolve
from proofbath.run.reading import RELEASE
from proofbath.run.sequencer import Event, Sequencer
from proofbath.wire.session import Disconnected, LinkSilent, Rebooted
from proofbath.wire.table import State


class AnyEvents(RuleBasedStateMachine):
    """Whatever happens in whatever order: no error, no demand out of range, no heat after an end.

    Ticks come in runs, so that the walk gets through the steps.
    """

    def __init__(self) -> None:
        super().__init__()
        self.bench = SimpleBench(bath_c=38.0)
        self.sequencer = Sequencer(resolve(POWERED, TEAL_82, 103.0, ASSISTED), WORKSHOP)

    def give(self, event: Event) -> None:
        was_over = self.sequencer.ended
        demand = self.sequencer.step(event)
        if was_over or self.sequencer.ended:
            assert demand is None or demand is RELEASE
        elif demand is not None and demand is not RELEASE:
            assert 0.0 <= demand.duty <= 1.0
            assert demand.stirrer
            assert all(0.0 <= a <= 0.9 for a in demand.element_a)
        self.bench.take(demand)

    @rule(count=st.integers(1, 3000))
    def samples(self, count: int) -> None:
        for _ in range(count):
            self.give(self.bench.reading())

    @rule(event=st.sampled_from([LinkSilent(), Pause(), Resume()]))
    def passing(self, event: Event) -> None:
        self.give(event)

    @rule(off_s=st.floats(0.1, 60.0))
    def lease_over(self, off_s: float) -> None:
        self.bench.state, self.bench.demand = State.READY, None
        self.bench.tick_count += round(off_s * 10)
        self.give(self.bench.reading())

    @rule(bath_c=st.sampled_from([math.nan, 0.0, 39.0, 130.0]))
    def odd_reading(self, bath_c: float) -> None:
        self.give(self.bench.reading()._replace(bath_c=bath_c, lift_mm=(math.nan,) * 6))

    @rule(flags=st.tuples(*[st.integers(0, 63)] * 6))
    def flags(self, flags: tuple[int, ...]) -> None:
        self.bench.station_flags = flags

    @rule(event=st.sampled_from([Stop(), Finish(), Rebooted(3), Disconnected("gone")]))
    def ending(self, event: Event) -> None:
        self.give(event)


AnyEvents.TestCase.settings = settings(max_examples=20, stateful_step_count=12, deadline=None)
TestAnyEvents = AnyEvents.TestCase
