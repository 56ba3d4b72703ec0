"""Short nights on the virtual bench, journalled, whose true set-points are written down."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import NamedTuple

import numpy as np

from host.bench.nights import BENCH, PLAN, bench_file, plan
from proofbath.bench.link import Link
from proofbath.bench.night import CYCLES, Watch, carry, make_ready, measured_cycles, run_head
from proofbath.bench.virtual_port import VirtualPort
from proofbath.run.acts import Act
from proofbath.run.reading import Demand, Reading
from proofbath.run.sequencer import Event, Sequencer
from proofbath.store.journal import Journal
from proofbath.virtual.bench import VirtualBench

WARM = BENCH.replace("seed = 3", "seed = 3\nbath.start_c = 38.0")
STEPS = """
[[step]]
kind = "soak"
to_c = 41
at_least_s = 80

[[step]]
kind = "ramp"
to_c = 43
rate_k_per_min = 1

[[step]]
kind = "hold"
for_s = 60

[[step]]
kind = "ramp"
to_c = 42.8
rate_k_per_min = 0.2
"""
RAMPING = PLAN[: PLAN.index("[[step]]")] + STEPS


class Recording(Sequencer):
    """Writes down what its set-point was at each sample."""

    said: dict[float, float]

    def step(self, event: Event) -> Demand | None:
        answer = super().step(event)
        if isinstance(event, Reading):
            self.said[event.t_s] = self.setpoint_c
        return answer


class TrueNight(NamedTuple):
    run_id: int
    setpoint_c: dict[float, float]


def true_night(
    path: Path, bench: str = WARM, acts: Callable[[float], Act | None] = lambda _: None
) -> TrueNight:
    """Run a night into the journal at `path`; `acts` says what a person does at a time."""
    described, planned = bench_file(bench), plan(RAMPING)
    assert described.virtual is not None
    asked: deque[Act] = deque()

    def look(now: object) -> None:
        reading = now.reading  # type: ignore[attr-defined]
        act = acts(reading.t_s)
        if act is not None:
            asked.append(act)

    link = Link(VirtualPort(VirtualBench(described.virtual)))
    with closing(Journal(path)) as journal:
        ready = make_ready(link, planned, described, path, clear=True)
        head = run_head(described, ready, planned.model_dump_json(), "2026-03-01T18:00:00+00:00")
        sequencer = Recording(ready.checked.legs, described.bath, described.gains())
        sequencer.said = {}
        writer = journal.begin(head)
        writer.note(0.0, CYCLES, f"{measured_cycles(ready.checked.legs)}")
        turns = np.arange(1e7).__iter__()
        watch = Watch(lambda _: None, look, asked, lambda: float(next(turns)) * 0.1)
        outcome = carry(link, described, ready, sequencer=sequencer, writer=writer, watch=watch)
    return TrueNight(outcome.run_id, sequencer.said)
