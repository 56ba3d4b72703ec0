"""The loop: a run carried from first sample to last, and every way it can end."""

from __future__ import annotations

import itertools
import sqlite3
from pathlib import Path
from typing import Any

import pytest

from host.bench.controller import Controller
from proofbath.bench.calibration import Calibration
from proofbath.bench.clock import Clock
from proofbath.bench.convert import Converter
from proofbath.bench.limits import LimitsSection, StationLimit, wire_limits
from proofbath.bench.link import Link
from proofbath.bench.loop import Loop, Outcome
from proofbath.bench.notes import notes_in
from proofbath.bench.port import PortLostError
from proofbath.bench.record import run_record
from proofbath.bench.virtual_port import VirtualPort
from proofbath.control.bath_model import BathModel
from proofbath.errors import BenchFaultError
from proofbath.run.profile import Hold, Soak, resolve
from proofbath.run.reading import Reading
from proofbath.run.sequencer import Sequencer, Stop
from proofbath.run.unit_type import UnitType
from proofbath.store.journal import OPEN, Journal, RunHead
from proofbath.wire.line import encode
from proofbath.wire.table import Demand, State, Trip, TripReason

HEAD = RunHead("2025-10-01T18:00:00+00:00", "quay", "plan", "bench", "{}", "{}")
TEAL_82 = UnitType(
    name="Teal-82", nominal_start_to_open_c=82, full_open_c=95, full_lift_mm=8, cap_c=105
)
MODEL = BathModel(
    heat_capacity_j_per_k=40_000,
    loss_w_per_k=2,
    heater_w=2000,
    dead_time_s=0.5,
    heater_lag_s=0.5,
)
STEPS = resolve([Soak(to_c=41.0, at_least_s=80.0), Hold(for_s=5.0)], TEAL_82, 100.0)


class Bench:
    """A controller, a journal and a loop between them, with a wall clock that counts turns."""

    def __init__(self, folder: Path, wall_s: Clock | None = None) -> None:
        self.controller = Controller(bath_c=40.0)
        self.controller.heat_k_per_min = 3.0
        self.port = VirtualPort(self.controller)
        self.journal = Journal(folder / "night.db")
        self.shown: list[Reading] = []
        limits = wire_limits(
            LimitsSection(), Calibration(), 103.0, stations=(StationLimit(0.7, 12.0),) * 6
        )
        turns = itertools.count()
        self.loop = Loop(
            Link(self.port),
            Sequencer(STEPS, MODEL),
            self.journal.begin(HEAD),
            Converter(Calibration()),
            limits,
            wall_s or (lambda: next(turns) * 0.1),
            self.show,
        )
        self.before_tick: dict[int, Any] = {}
        self.port.read = self._read  # type: ignore[method-assign]

    def show(self, reading: Reading) -> None:
        self.shown.append(reading)

    def _read(self) -> bytes:
        act = self.before_tick.pop(self.controller.ticks, None)
        if act:
            act()
        return VirtualPort.read(self.port)

    def run(self) -> Outcome:
        outcome = self.loop.run()
        assert self.journal.verify_chain(outcome.run_id) > 0
        (line,) = self.journal.runs()
        assert (line.status, line.reason) == (outcome.status, outcome.reason)
        return outcome

    def kinds(self) -> list[str]:
        return [event.kind for event in self.journal.events(1)]


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


def test_a_run_is_carried_to_its_end_and_everything_given_back(bench: Bench) -> None:
    outcome = bench.run()
    assert (outcome.status, outcome.reason) == ("done", "")
    assert bench.controller.taken[-1].lease_ms == 0
    assert bench.controller.state == State.READY
    rows = bench.journal.samples(outcome.run_id)
    assert rows["sequence"].tolist() == list(range(1001, 1001 + len(rows)))
    record = run_record(rows, Calibration())
    assert record.bath_c[0] == pytest.approx(40.0, abs=0.01)
    assert record.bath_c[-1] == pytest.approx(41.0, abs=0.1)
    codes = [note.code for note in notes_in(bench.journal.events(1))]
    assert codes == ["run_begin", "step_begin", "step_end", "step_begin", "step_end", "run_end"]


def test_every_sample_is_answered_by_a_demand_for_it(bench: Bench) -> None:
    bench.run()
    sequences = [demand.sequence for demand in bench.controller.taken]
    assert sequences == list(range(1001, 1001 + len(sequences)))


def test_no_reading_is_shown_before_its_chunk_is_committed(bench: Bench) -> None:
    def show(reading: Reading) -> None:
        bench.shown.append(reading)
        assert bench.journal.samples(1)["sequence"][-1] == reading.sequence
        assert bench.loop.committed is reading

    bench.loop._on_commit = show
    bench.run()
    assert len(bench.shown) > 10


def test_chunks_are_committed_once_a_second_of_the_injected_clock(bench: Bench) -> None:
    bench.run()
    with sqlite3.connect(bench.journal.path) as raw:
        sizes = [n for (n,) in raw.execute("select last_sequence - first_sequence from chunk")]
    # The clock moves 0.1 s a turn, and each turn is a sample.
    assert set(sizes[1:-2]) == {9}


def test_a_clock_that_stands_still_commits_once_at_the_end(tmp_path: Path) -> None:
    bench = Bench(tmp_path, wall_s=lambda: 0.0)
    bench.run()
    assert bench.journal.verify_chain(1) == 1


def test_a_stop_gives_back_within_a_tick(bench: Bench) -> None:
    bench.before_tick[300] = lambda: bench.loop.acts.append(Stop("not tonight"))
    outcome = bench.run()
    assert (outcome.status, outcome.reason) == ("stopped", "not tonight")
    release = next(d for d in bench.controller.taken if d.lease_ms == 0)
    assert release.sequence - 1000 <= 302
    assert bench.controller.taken[-1] == release


def test_a_trip_ends_the_run_with_its_reason(bench: Bench) -> None:
    def trip() -> None:
        bench.controller.trip(TripReason.LEVEL_LOW)
        bench.controller.noise = encode(Trip(1, TripReason.LEVEL_LOW, 0, 1))

    bench.before_tick[300] = trip
    bench.before_tick[301] = lambda: setattr(bench.controller, "noise", b"")
    outcome = bench.run()
    assert outcome.status == "tripped"
    assert "level_low" in outcome.reason
    assert "trip" in bench.kinds()


def test_a_lost_port_ends_the_run_and_leaves_the_rest_to_the_lease(bench: Bench) -> None:
    def unplug() -> None:
        bench.before_tick[bench.controller.ticks] = unplug
        raise PortLostError("unplugged")

    bench.before_tick[300] = unplug
    outcome = bench.run()
    assert outcome.status == "lost"
    assert "unplugged" in outcome.reason
    assert "unreleased" in bench.kinds()


def test_a_rebooted_controller_ends_the_run(bench: Bench) -> None:
    bench.before_tick[300] = bench.controller.reboot
    outcome = bench.run()
    assert outcome.status == "lost"
    assert "restarted" in outcome.reason
    assert "rebooted" in bench.kinds()
    assert bench.controller.state == State.READY


def test_silence_for_good_ends_the_run(bench: Bench) -> None:
    bench.before_tick[300] = lambda: setattr(bench.controller, "muted", True)
    outcome = bench.run()
    assert outcome.status == "lost"
    assert bench.kinds().count("silent") == 10
    assert bench.controller.state == State.READY


def test_silence_that_passes_is_a_gap(bench: Bench) -> None:
    bench.before_tick[300] = lambda: setattr(bench.controller, "muted", True)
    bench.before_tick[325] = lambda: setattr(bench.controller, "muted", False)
    outcome = bench.run()
    assert outcome.status == "done"
    (gap,) = [e.text for e in bench.journal.events(1) if e.kind == "gap"]
    assert gap == "25 samples lost before 1326"
    assert bench.kinds().count("silent") == 2


def test_garbled_lines_are_counted_and_the_run_goes_on(bench: Bench) -> None:
    for tick in range(300, 310):
        bench.before_tick[tick] = lambda: setattr(bench.controller, "noise", b"sample 1 2 #XX\n")
    bench.before_tick[310] = lambda: setattr(bench.controller, "noise", b"")
    assert bench.run().status == "done"
    texts = [e.text for e in bench.journal.events(1) if e.kind == "garbled"]
    assert sum(int(text.split()[0]) for text in texts) == 10
    assert len(texts) <= 2


def test_an_interrupt_at_the_keyboard_gives_back_and_closes(bench: Bench) -> None:
    def interrupt() -> None:
        raise KeyboardInterrupt

    bench.before_tick[300] = interrupt
    outcome = bench.run()
    assert outcome.status == "stopped"
    assert bench.controller.state == State.READY
    assert bench.controller.taken[-1].lease_ms == 0


def test_a_fault_of_the_program_gives_back_and_closes(bench: Bench) -> None:
    def fail() -> None:
        raise ZeroDivisionError("a fault of ours")

    bench.before_tick[300] = fail
    with pytest.raises(ZeroDivisionError):
        bench.loop.run()
    (line,) = bench.journal.runs()
    assert (line.status, line.reason) == ("failed", "a fault of ours")
    assert bench.controller.state == State.READY


def test_a_journal_locked_for_a_while_does_not_end_the_night(bench: Bench) -> None:
    other = sqlite3.connect(bench.journal.path)
    bench.before_tick[300] = lambda: other.execute("begin immediate")
    bench.before_tick[325] = other.rollback
    outcome = bench.run()
    other.close()
    assert outcome.status == "done"
    sequences = bench.journal.samples(1)["sequence"].tolist()
    assert sequences == list(range(1001, 1001 + len(sequences)))


def test_a_journal_locked_for_good_ends_the_run_with_the_outputs_given_back(bench: Bench) -> None:
    other = sqlite3.connect(bench.journal.path)
    bench.before_tick[300] = lambda: other.execute("begin immediate")
    with pytest.raises(BenchFaultError, match="another program holds it"):
        bench.loop.run()
    other.rollback()
    other.close()
    # 10 s of trying, a tenth of a second a turn, then the lease is given back.
    assert 395 <= bench.controller.taken[-1].sequence - 1000 <= 425
    assert bench.controller.taken[-1].lease_ms == 0
    assert bench.controller.state == State.READY
    assert bench.journal.run(1).status == OPEN
    assert bench.journal.verify_chain(1) > 20


def test_a_host_whose_wall_clock_leaps_ahead_only_commits_sooner(tmp_path: Path) -> None:
    turns = itertools.count()
    leap = itertools.chain([0.0] * 300, itertools.repeat(3600.0))
    bench = Bench(tmp_path, wall_s=lambda: next(turns) * 0.1 + next(leap))
    assert bench.run().status == "done"
    sequences = bench.journal.samples(1)["sequence"].tolist()
    assert sequences == list(range(1001, 1001 + len(sequences)))
    assert "silent" not in bench.kinds()


def test_a_full_disk_ends_the_run_with_the_outputs_given_back(bench: Bench) -> None:
    def fill() -> None:
        with bench.journal._engine.connect() as raw:
            pages = raw.exec_driver_sql("pragma page_count").scalar_one()
            raw.exec_driver_sql(f"pragma max_page_count = {pages}")

    bench.before_tick[300] = fill
    with pytest.raises(BenchFaultError, match="the disk is full"):
        bench.loop.run()
    assert bench.controller.state == State.READY
    assert bench.controller.taken[-1].lease_ms == 0
    assert isinstance(bench.controller.taken[-1], Demand)
    assert bench.journal.verify_chain(1) > 20
    assert len(bench.journal.samples(1)) >= 280
