"""Going on with a run: where the branch allows it, and as one record."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from host.bench.nights import BENCH, PLAN, bench_file, plan
from proofbath.bench.curves import unit_records
from proofbath.bench.description import BenchFile
from proofbath.bench.link import Link
from proofbath.bench.loop import Outcome
from proofbath.bench.night import run_night
from proofbath.bench.notes import notes_in
from proofbath.bench.record import run_record
from proofbath.bench.resume import Gap, ResumePoint, resume_night, resume_point
from proofbath.bench.run import read_run
from proofbath.bench.virtual_port import VirtualPort
from proofbath.errors import BenchFaultError, ProofbathError, RecordError
from proofbath.run.note import Note
from proofbath.run.profile import Energise, Hold, Leg, Loading, Ramp, Soak
from proofbath.store.journal import Journal
from proofbath.virtual.bench import VirtualBench
from proofbath.wire.table import BootCause

# The bath model of a virtual bath of 8 l with 1.5 kW, so that ramps are followed closely.
WARM = (
    BENCH.replace("seed = 3", "seed = 3\nbath.start_c = 38.0")
    .replace("40_000", "31_000")
    .replace("heater_w = 2000", "heater_w = 1500")
    .replace("dead_time_s = 0.5", "dead_time_s = 6")
    .replace("heater_lag_s = 0.5", "heater_lag_s = 10\nprobe_lag_s = 6")
)
CYCLE = (
    PLAN[: PLAN.index("[[step]]")]
    + """
[[step]]
kind = "soak"
to_c = 39
at_least_s = 60
cycle = 1

[[step]]
kind = "ramp"
to_c = 43
rate_k_per_min = 1.5
cycle = 1

[[step]]
kind = "ramp"
to_c = 42.5
rate_k_per_min = "attainable"
cycle = 1

[[step]]
kind = "hold"
for_s = 5
cycle = 2

[[step]]
kind = "ramp"
to_c = 42
rate_k_per_min = "attainable"
purpose = "cool-down"
"""
)


class HostGoneError(ProofbathError):
    """What a test ends the host with."""


class Vanishing:
    """A bench whose host is gone, for good, once the bath has reached a temperature."""

    def __init__(self, bench: VirtualBench, above_c: float = 1e9, below_c: float = -1e9) -> None:
        self.bench, self.above_c, self.below_c = bench, above_c, below_c
        self.highest_c = -1e9
        self.gone = False

    def advance(self, data: bytes) -> bytes:
        bath_c = self.bench.get("bath.temperature_c")
        self.highest_c = max(self.highest_c, bath_c)
        self.gone |= bath_c > self.above_c
        self.gone |= self.highest_c > self.below_c + 0.1 and bath_c < self.below_c
        if self.gone:
            raise HostGoneError("gone")
        return self.bench.advance(data)


@pytest.fixture
def journal(tmp_path: Path) -> Journal:
    return Journal(tmp_path / "night.db")


@pytest.fixture
def bench() -> VirtualBench:
    virtual = bench_file(WARM).virtual
    assert virtual is not None
    return VirtualBench(virtual)


def begin(port: Any, journal: Journal) -> Outcome:
    link = Link(VirtualPort(port))
    return run_night(link, plan(CYCLE), bench_file(WARM), journal, clear=True, started=lambda: "t")


def go_on(bench: VirtualBench, journal: Journal, **options: Any) -> Outcome:
    described: BenchFile = options.pop("described", bench_file(WARM))
    return resume_night(Link(VirtualPort(bench)), described, journal, **options)


def pass_time(bench: VirtualBench, seconds: float) -> None:
    for _ in range(round(10 * seconds)):
        bench.advance(b"")


def resumed(journal: Journal) -> str:
    return next(e.text for e in journal.events(1) if e.kind == "resumed")


def test_a_host_back_at_once_goes_on_at_its_step(bench: VirtualBench, journal: Journal) -> None:
    with pytest.raises(HostGoneError):
        begin(Vanishing(bench, above_c=41.0), journal)
    outcome = go_on(bench, journal)
    assert (outcome.run_id, outcome.status) == (1, "done")
    assert resumed(journal).startswith("at step 2: bath moved by")
    assert len(journal.runs()) == 1
    assert journal.verify_chain(1) > 1


def test_a_rising_branch_that_was_left_begins_its_cycle_again(
    bench: VirtualBench, journal: Journal
) -> None:
    with pytest.raises(HostGoneError):
        begin(Vanishing(bench, above_c=41.0), journal)
    pass_time(bench, 400)
    assert go_on(bench, journal).status == "done"
    assert resumed(journal).startswith("at step 1: cycle 1 begins again")
    assert [e.text for e in journal.events(1) if e.kind == "begun_again"] == ["1"]
    legs = [n.leg for n in notes_in(journal.events(1)) if n.code == "step_begin"]
    assert legs == [0, 1, 0, 1, 2, 3, 4]


def test_the_record_of_a_resumed_night_has_clean_cycles(
    bench: VirtualBench, journal: Journal
) -> None:
    with pytest.raises(HostGoneError):
        begin(Vanishing(bench, above_c=41.0), journal)
    pass_time(bench, 400)
    go_on(bench, journal)
    begun = [n for n in notes_in(journal.events(1)) if n.code == "step_begin" and n.leg == 0]
    records = unit_records(read_run(journal, 1))
    assert sorted(records) == [1, 3]
    for record in records.values():
        t_s = run_record(journal.samples(1), bench_file(WARM).calibration).t_s
        # The broken rise to 41 °C is gone, the second one whole.
        assert record.t_s[0] + t_s[0] == pytest.approx(begun[1].t_s, abs=0.11)
        assert np.diff(record.t_s) == pytest.approx(0.1)
        assert record.bath_c.max() == pytest.approx(43.0, abs=0.15)
        # Down to the soak at 39 °C, then one rise.
        lowest, highest = int(record.bath_c.argmin()), int(record.bath_c.argmax())
        assert record.bath_c[lowest] == pytest.approx(39.0, abs=0.15)
        assert lowest < highest
        assert np.min(np.diff(record.bath_c[lowest:highest:100])) > -0.05


def test_a_falling_branch_goes_on_as_the_bath_only_fell(
    bench: VirtualBench, journal: Journal
) -> None:
    with pytest.raises(HostGoneError):
        begin(Vanishing(bench, below_c=42.8), journal)
    # 2 W/K on 31 kJ/K cool the bath by 0.08 K a minute: still above the 42.5 °C it falls to.
    pass_time(bench, 60)
    assert go_on(bench, journal).status == "done"
    assert resumed(journal).startswith("at step 3: bath")


def test_a_fall_the_bath_has_behind_it_is_not_heated_up_to_again(
    bench: VirtualBench, journal: Journal
) -> None:
    with pytest.raises(HostGoneError):
        begin(Vanishing(bench, below_c=42.8), journal)
    pass_time(bench, 600)
    assert go_on(bench, journal).status == "done"
    assert resumed(journal).startswith("at step 4: bath at 42.")
    record = run_record(journal.samples(1), bench_file(WARM).calibration)
    behind = record.bath_c[int(np.argmax(np.diff(record.t_s))) + 1 :]
    assert behind.max() < behind[:20].mean() + 0.15, "it is held, not heated back to 42.5 °C"


def test_the_record_of_a_resumed_run_is_one_with_a_gap(
    bench: VirtualBench, journal: Journal
) -> None:
    with pytest.raises(HostGoneError):
        begin(Vanishing(bench, above_c=41.0), journal)
    before = len(journal.samples(1))
    pass_time(bench, 300)
    go_on(bench, journal)
    record = run_record(journal.samples(1), bench_file(WARM).calibration)
    step_s = np.diff(record.t_s)
    # The controller lived on: its clock tells the gap, pre-flight and all.
    assert 300 < step_s[before - 1] < 310
    assert np.delete(step_s, before - 1) == pytest.approx(0.1)
    ends = [n for n in notes_in(journal.events(1)) if n.code == "run_end"]
    assert ends[-1].t_s == pytest.approx(record.t_s[-1], abs=0.3)


def test_after_a_power_failure_only_a_person_heats_again(
    bench: VirtualBench, journal: Journal
) -> None:
    with pytest.raises(HostGoneError):
        begin(Vanishing(bench, above_c=41.0), journal)
    before = len(journal.samples(1))
    bench.boot(BootCause.POWER_ON)
    with pytest.raises(BenchFaultError, match="power on; find and remove the cause"):
        go_on(bench, journal)
    assert journal.runs()[0].status == "failed"
    assert go_on(bench, journal, clear=True).status == "done"
    record = run_record(journal.samples(1), bench_file(WARM).calibration)
    assert np.min(np.diff(record.t_s)) > 0
    ends = [n for n in notes_in(journal.events(1)) if n.code == "run_end"]
    assert ends[-1].t_s == pytest.approx(record.t_s[-1], abs=0.3)
    assert journal.samples(1)["boot_id"][before] != journal.samples(1)["boot_id"][before - 1]


def test_what_cannot_be_resumed_is_refused(bench: VirtualBench, journal: Journal) -> None:
    with pytest.raises(RecordError, match="no night of bench quay"):
        go_on(bench, journal)
    assert begin(bench, journal).status == "done"
    with pytest.raises(RecordError, match="run 1 is done"):
        go_on(bench, journal)
    with pytest.raises(RecordError, match="has no run 7"):
        go_on(bench, journal, run_id=7)


def test_another_calibration_is_refused(bench: VirtualBench, journal: Journal) -> None:
    with pytest.raises(HostGoneError):
        begin(Vanishing(bench, above_c=41.0), journal)
    other = bench_file(WARM.replace("offset_k = 0.02", "offset_k = 0.03"))
    with pytest.raises(RecordError, match="another calibration"):
        go_on(bench, journal, described=other)


def legs_of(*steps: Any) -> tuple[Leg, ...]:
    """Each with its temperature, a hold with the one before it."""
    at_c, legs = 0.0, []
    heated = Loading(max_a=(0.9,) * 6)
    for step in steps:
        at_c = getattr(step, "to_c", at_c)
        legs.append(Leg(step, at_c, loading=heated))
    return tuple(legs)


RECORDED = legs_of(
    Soak(to_c=70, cycle=1),
    Ramp(to_c=97, rate_k_per_min=1, cycle=1),
    Hold(for_s=300, cycle=1),
    Ramp(to_c=70, rate_k_per_min=1, cycle=1),
    Soak(to_c=70, cycle=2),
    Ramp(to_c=44, rate_k_per_min="attainable", purpose="cool-down"),
)
POWERED = legs_of(
    Soak(to_c=70, cycle=1),
    Ramp(to_c=97, rate_k_per_min=1, cycle=1),
    Ramp(to_c=80, rate_k_per_min=1, cycle=1),
    Energise(element_a=0.5, cycle=1),
)


@pytest.mark.parametrize(
    ("at", "branch", "lost_c", "now_c", "could_fall_k", "point"),
    [
        (0, "rising", 50.0, 49.9, 0.1, (0, None)),
        (0, "rising", 50.0, 40.0, 10.0, (0, 1)),
        (1, "rising", 85.0, 84.8, 0.2, (1, None)),
        (1, "rising", 85.0, 85.1, 5.0, (0, 1)),
        (1, "rising", 85.0, 84.6, 0.4, (0, 1)),
        (2, "level", 97.0, 96.8, 0.2, (2, None)),
        (2, "level", 97.0, 96.0, 1.0, (0, 1)),
        (3, "falling", 85.0, 80.0, 5.0, (3, None)),
        (3, "falling", 85.0, 70.1, 30.0, (3, None)),
        # Falls to 70 °C, and the bath is colder: on with the soak, which heats by itself.
        (3, "falling", 85.0, 70.0, 30.0, (4, None)),
        (3, "falling", 85.0, 20.0, 70.0, (4, None)),
        (3, "falling", 85.0, 85.5, 0.1, (0, 1)),
        (4, "falling", 70.0, 60.0, 10.0, (4, None)),
        (5, "falling", 60.0, 50.0, 30.0, (5, None)),
        (5, "falling", 60.0, 30.0, 30.0, (6, None)),
        (5, "falling", 60.0, 60.5, 0.1, (5, None)),
    ],
)
def test_a_run_goes_on_where_its_branch_allows(
    at: int,
    branch: str,
    lost_c: float,
    now_c: float,
    could_fall_k: float,
    point: tuple[int, int | None],
) -> None:
    notes = [Note(0.0, "step_begin", "", leg=n, branch="rising") for n in range(at)]
    notes.append(Note(1.0, "step_begin", "", leg=at, branch=branch))
    found = resume_point(RECORDED, notes, Gap(lost_c, now_c, could_fall_k))
    assert (found.leg, found.spoiled_cycle) == point


def test_currents_on_a_bath_that_was_missed_need_their_cycle_again() -> None:
    notes = [Note(1.0, "step_begin", "", leg=2, branch="falling")]
    found = resume_point(POWERED, notes, Gap(90.0, 60.0, 30.0))
    assert (found.leg, found.spoiled_cycle) == (0, 1)


def test_a_ramp_with_current_is_not_gone_on_with_for_its_units_cooled() -> None:
    legs = legs_of(
        Soak(to_c=70, cycle=1),
        Ramp(to_c=97, rate_k_per_min=1, element_a=0.5, cycle=1),
    )
    notes = [Note(0.0, "step_begin", "", 1, 1, "recorded", "rising")]
    found = resume_point(legs, notes, Gap(85.0, 84.9, 0.1))
    assert (found.leg, found.spoiled_cycle) == (0, 1)


def test_a_run_that_had_not_begun_begins() -> None:
    assert resume_point(RECORDED, [], Gap(20.0, 20.0)) == ResumePoint(0, "no step had begun")
