"""A night on a short plan, given one fault of the hazard table in one part of it.

The controller's own program (native, or the AVR binary in its simulator), the plant, the host's
loop and the journal.
"""

from __future__ import annotations

from collections import deque
from typing import Any, Protocol

import pytest

from proofbath.bench.description import BenchFile
from proofbath.bench.link import Link
from proofbath.bench.night import Outcome, Watch, carry, make_ready, run_head
from proofbath.bench.notes import notes_in
from proofbath.bench.port import PortLostError
from proofbath.bench.start import greet
from proofbath.bench.virtual_port import VirtualPort
from proofbath.cli.night_outcome import exit_status
from proofbath.run.acts import Act, Pause, Resume
from proofbath.run.input_words import WORDS, heat_in_words
from proofbath.run.plan import NightPlan
from proofbath.run.sequencer import Sequencer
from proofbath.run.states import Phase
from proofbath.store.journal import Journal
from proofbath.virtual.native import fault_kinds
from proofbath.wire.hazards import Between, End, Fault, Part
from proofbath.wire.hazards import Link as Disturbed
from proofbath.wire.session import Sampled
from proofbath.wire.table import BootCause, Input, State, TripReason
from proofbath.wire.watches import Watch as Alarm

STATION = 2
LASTING_S = 1e6
WHERE: dict[Part, tuple[Phase, str]] = {
    Part.STIRRING: (Phase.STIRRING, ""),
    Part.SOAKING: (Phase.SOAKING, "soak"),
    Part.RISING: (Phase.RAMPING, "rise"),
    Part.HOLDING: (Phase.HOLDING, "hold"),
    Part.FALLING: (Phase.RAMPING, "fall"),
    Part.POWER: (Phase.ENERGISING, "power"),
    Part.PAUSED: (Phase.PAUSED, "hold"),
    Part.COOLING: (Phase.RAMPING, "cool"),
}
"""The sequencer's phase and the label of the step."""
OPEN, CLOSED = WORDS[Input.CONTACTOR_OPEN][1:]

BENCH = {
    "bench": {"name": "quay"},
    "coolant": {"glycol": "propylene", "share_by_volume": 0.4},
    "bath": {
        "heat_capacity_j_per_k": 31000.0, "loss_w_per_k": 1.7, "evaporation_w_at_90c": 75.0,
        "heater_w": 1500.0, "cooling_w_per_k": 6.0, "cooling_in_c": 15.0,
        "dead_time_s": 5.0, "heater_lag_s": 10.0, "probe_lag_s": 6.0,
    },
    "virtual": {
        "bath": {"start_c": 60.0},
        "unit": [{"serial": f"H103-{n}", "station": n, "melting_c": 114.0} for n in (1, 2, 3)],
    },
}  # fmt: skip
PLAN = {
    "batch": "ferry",
    "stage": "trial",
    "unit_type": {
        "name": "Heron-103", "kind": "heater-assisted", "nominal_start_to_open_c": 103.0,
        "full_open_c": 116.0, "full_lift_mm": 8.0, "greatest_lift_mm": 12.0, "cap_c": 106.0,
        "element_max_a": 0.9, "element_ohm": 15.0,
    },
    "station": [{"station": n, "serial": f"H103-{n}"} for n in (1, 2, 3)],
}  # fmt: skip
SOAK = {"kind": "soak", "label": "soak", "to_c": 60.2, "at_least_s": 20, "at_most_s": 20}
RISE = {"kind": "ramp", "label": "rise", "to_c": 60.8, "rate_k_per_min": 1.0}
HOLD = {"kind": "hold", "label": "hold", "for_s": 40}
FALL = {"kind": "ramp", "label": "fall", "to_c": 59.8, "rate_k_per_min": 0.4}
FEED = {
    "kind": "energise", "label": "power", "element_a": 0.5, "at_least_s": 30, "at_most_s": 40,
}  # fmt: skip
COOL = {
    "kind": "ramp", "label": "cool", "to_c": 59.5, "rate_k_per_min": "attainable",
    "purpose": "cool-down", "element_a": 0.0,
}  # fmt: skip
STEPS: dict[Part, list[dict[str, Any]]] = {
    Part.STIRRING: [SOAK, HOLD],
    Part.SOAKING: [SOAK, HOLD],
    Part.RISING: [SOAK, RISE],
    Part.HOLDING: [SOAK, HOLD],
    Part.FALLING: [SOAK, FALL],
    Part.POWER: [SOAK, FEED, COOL],
    Part.PAUSED: [SOAK, HOLD],
    Part.COOLING: [SOAK, COOL],
}
PAUSE_TICKS = 300


class Plant(Protocol):
    """A controller with its plant, one tick at a time."""

    def advance(self, data: bytes) -> bytes: ...

    def begin(self, kind: str, station: int, for_s: float, size: float) -> None: ...

    def boot(self, cause: BootCause) -> None: ...

    def get(self, key: str) -> float: ...


class Faulty:
    """A bench that gets its fault when the run comes to a part."""

    def __init__(self, row: Fault | Disturbed, part: Part, bench: Plant) -> None:
        self.bench, self.row, self.part = bench, row, part
        self.sequencer: Sequencer | None = None
        self.acts: deque[Act] = deque()
        self.since = 0
        self.fed: list[tuple[float, ...]] = []

    def advance(self, data: bytes) -> bytes:
        if self.sequencer is not None:
            self._look(self.sequencer)
        gone = self.row.kind if self.since else ""
        if gone == Between.PLUG:
            raise PortLostError("pulled")
        said = self.bench.advance(data)
        if gone == Between.MUTE:
            return b""
        noise = b"\x00sample 7\xff\n" * (self.since % 3)
        return noise + said if gone == Between.NOISE else said

    def _look(self, sequencer: Sequencer) -> None:
        phase, label = WHERE[self.part]
        there = not label or sequencer.progress().label == label
        if self.since:
            self.since += 1
            if self.part is Part.PAUSED and self.since == PAUSE_TICKS:
                self.acts.append(Resume())
            if sequencer.phase is Phase.ENERGISING:
                self.fed.append(tuple(self.bench.get(f"station.{n}.element_a") for n in (1, 2, 3)))
        elif self.part is Part.PAUSED and there and sequencer.phase is Phase.HOLDING:
            self.acts.append(Pause())
        elif there and sequencer.phase is phase:
            self.since = 1
            self._begin()

    def _begin(self) -> None:
        kind = self.row.kind
        if isinstance(self.row, Fault):
            station = STATION if fault_kinds()[kind].at_station else 0
            self.bench.begin(kind, station, LASTING_S, self.row.size)
        elif kind.startswith("boot "):
            self.bench.boot(BootCause[kind.removeprefix("boot ")])

    def all_off(self) -> bool:
        names = ["contactor", "heater", "element_feed", "cooling"]
        names += [f"station_switch.{n}" for n in range(1, 7)]
        return not any(self.bench.get(f"output.{name}") for name in names)

    def seen_of_heat(self) -> tuple[str, str]:
        """Return contactor and heater current as the next sample shows them."""
        link = Link(VirtualPort(self.bench))
        event = link.ask(None, lambda event: isinstance(event, Sampled), 10.0)
        assert isinstance(event, Sampled)
        return heat_in_words(event.sample.inputs)


def description() -> BenchFile:
    return BenchFile.model_validate(BENCH)


def run(faulty: Faulty, journal: Journal) -> Outcome:
    """As a night is run, with the sequencer where the bench can see its phase."""
    bench = description()
    plan = NightPlan.model_validate({**PLAN, "step": STEPS[faulty.part]})
    link = Link(VirtualPort(faulty))
    ready = make_ready(link, plan, bench, journal.path, clear=True)
    # The elements' own checks take three minutes on a cold bath; they have tests of their own.
    legs = tuple(leg for leg in ready.checked.legs if leg.step.purpose != "check")
    sequencer = faulty.sequencer = Sequencer(legs, bench.bath)
    head = run_head(bench, ready, plan.model_dump_json(), "2025-10-01T18:00:00+00:00")
    watch = Watch(lambda _: None, lambda _: None, faulty.acts)
    return carry(link, bench, ready, sequencer=sequencer, writer=journal.begin(head), watch=watch)


def _begins(by: TripReason | Alarm) -> str:
    if isinstance(by, TripReason):
        return Alarm.TRIPPED.say(reason=by.name.lower())
    return by.value.words.partition("{")[0]


def check_end(faulty: Faulty, journal: Journal) -> None:
    """Run the night; outcome, journal, exit status, outputs and latch must be the table's."""
    row, part = faulty.row, faulty.part
    expected: End = row.differs.get(part, row.end)
    outcome = run(faulty, journal)
    assert faulty.since, f"the run never came to {part}"

    line = journal.run(outcome.run_id)
    assert (line.status, line.reason) == (outcome.status, outcome.reason)
    assert journal.verify_chain(outcome.run_id) > 0
    tripped = bool(expected.by) and isinstance(expected.by[0], TripReason)
    wanted = "tripped" if tripped else "lost" if expected.by else "done"
    assert outcome.status == wanted, outcome.reason
    assert outcome.reason.startswith(tuple(_begins(by) for by in expected.by) or ("",))
    assert exit_status(outcome) == (3 if expected.by else 0)

    for _ in range(70):  # the contactor opens a second behind the heat, the trip may follow
        faulty.bench.advance(b"")
    assert faulty.all_off()
    contactor = CLOSED if row.seems_closed else OPEN
    assert faulty.seen_of_heat() == (f"contactor: {contactor}", "heater current: none")
    identity = greet(Link(VirtualPort(faulty.bench)))
    held = TripReason(identity.trip_reason if identity.state == State.TRIPPED else 0)
    if tripped and not expected.latched:
        assert outcome.reason == _begins(held)
    else:
        assert held is expected.latched

    if expected.flag is not None:
        begins = f"station {STATION}: {(expected.flag.name or '').lower()}"
        told = [n.text for n in notes_in(journal.events(outcome.run_id)) if n.code == "alarm"]
        assert any(text.startswith(begins) for text in told), told
        if part is Part.POWER:
            assert faulty.fed[-1] == pytest.approx(expected.fed_a, abs=0.01)
