"""A night from plan to closed run, and everything that stops it before heat."""

from __future__ import annotations

import json
from collections import deque
from pathlib import Path
from typing import Any

import pytest

from host.bench.controller import IDENTITY, Controller
from host.bench.nights import BENCH, PLAN, bench_file, plan
from proofbath.bench.calibration import Calibration
from proofbath.bench.link import Link
from proofbath.bench.night import Progressed, Watch, check_bench, run_night
from proofbath.bench.preflight import check_disk
from proofbath.bench.record import run_record
from proofbath.bench.virtual_port import VirtualPort
from proofbath.errors import BenchFaultError, InputError, MismatchError, ProofbathError
from proofbath.run.plan import NightPlan
from proofbath.store.journal import Journal
from proofbath.wire.table import ABSENT, Demand, Input, Sample, State, TripReason


class Bench(Controller):
    """A controller whose sample can be changed by name."""

    def __init__(self, **changed: Any) -> None:
        super().__init__(changed.pop("identity", IDENTITY))
        self.heat_k_per_min = 3.0
        self.changed = changed

    def sample(self) -> Sample:
        return super().sample()._replace(**self.changed)


@pytest.fixture
def journal(tmp_path: Path) -> Journal:
    return Journal(tmp_path / "night.db")


def run(controller: Controller, journal: Journal, **options: Any) -> Any:
    return run_night(
        Link(VirtualPort(controller)),
        options.pop("plan", plan()),
        options.pop("bench", bench_file()),
        journal,
        started=lambda: "2025-10-01T18:00:00+00:00",
        **options,
    )


def test_a_night_is_run_and_can_be_read_back_whole(journal: Journal) -> None:
    told: list[Progressed] = []
    controller = Bench()
    outcome = run(controller, journal, watch=Watch(lambda _: None, told.append, deque()))
    assert (outcome.status, outcome.reason) == ("done", "")
    line = journal.run(outcome.run_id)
    assert line.head.started == "2025-10-01T18:00:00+00:00"
    assert NightPlan.model_validate_json(line.head.plan_text) == plan()
    assert json.loads(line.head.controller)["serial_number"] == 4711
    calibration = Calibration.model_validate_json(line.head.calibration_text)
    assert calibration == bench_file().calibration
    record = run_record(journal.samples(outcome.run_id), calibration)
    assert record.bath_c[-1] == pytest.approx(41.0, abs=0.1)
    assert told[-1].phase == "done"
    assert told[-1].reading.bath_c == record.bath_c[-1]


def test_a_plain_units_element_may_carry_no_current(journal: Journal) -> None:
    controller = Bench()
    run(controller, journal)
    assert controller.in_force.element_max_code == (0,) * 6
    # Closed at 100 codes of 20/4095 mm and the described 0.1 mm; full lift 8 mm, spare 20 % and 1.
    stroke_code = 100 + (8 * 1.2 + 1) * 4095 / 20
    assert controller.in_force.over_stroke_code[0] == pytest.approx(stroke_code, abs=1)
    trip_c = bench_file().calibration.bath.temperature_c(controller.in_force.bath_limit_sum)
    assert trip_c == pytest.approx(43.0, abs=0.02)


NOT_READY = [
    (Bench(bath_fault=4), BenchFaultError, "bath probe: no reading"),
    (Bench(guard_sum=30_000), BenchFaultError, "guard probe: -21"),
    (Bench(guard_sum=38_000), BenchFaultError, "K apart, wanted at most 1 K"),
    (Bench(inputs=int(Input.CONTACTOR_OPEN)), BenchFaultError, "fill the bath"),
    (Bench(inputs=int(Input.CONTACTOR_OPEN)), BenchFaultError, "release the emergency stop"),
    (Bench(inputs=31), BenchFaultError, "its relay is welded"),
    (Bench(inputs=3), BenchFaultError, "outputs not off within 6 s"),
    (Bench(lift_sum=(ABSENT,) * 6), BenchFaultError, "station 3 gauge: no reading"),
    (Bench(lift_sum=(0, 0, 500, 0, 0, 0)), BenchFaultError, "station 1 gauge: no reading"),
    (Bench(current_sum=(900,) * 6), BenchFaultError, "station 1 element at rest: 0.11"),
    (Bench(identity=IDENTITY._replace(protocol=3)), MismatchError, "protocol 3, host 2"),
    (Bench(identity=IDENTITY._replace(stations=2)), MismatchError, "plan loads station 3"),
    (
        Bench(identity=IDENTITY._replace(state=0, trip_number=9, trip_reason=TripReason.POWER_ON)),
        BenchFaultError,
        r"tripped \(9\): power on; find and remove the cause",
    ),
]


@pytest.mark.parametrize(("controller", "error", "text"), NOT_READY, ids=lambda x: str(x)[:40])
def test_a_bench_that_is_not_ready_is_refused_before_heat(
    controller: Bench, error: type[ProofbathError], text: str, journal: Journal
) -> None:
    with pytest.raises(error, match=text):
        run(controller, journal)
    assert not [m for m in controller.heard if isinstance(m, Demand)]
    assert journal.runs() == []


def test_a_trip_is_cleared_for_a_person_and_the_night_goes_on(journal: Journal) -> None:
    power_on = IDENTITY._replace(state=0, trip_number=9, trip_reason=TripReason.POWER_ON)
    controller = Bench(identity=power_on)
    assert run(controller, journal, clear=True).status == "done"
    assert controller.state == State.READY


def test_a_bath_hotter_than_the_run_may_be_is_left_to_cool(journal: Journal) -> None:
    controller = Bench()
    controller.bath_c = 60.0
    with pytest.raises(BenchFaultError, match=r"60\.0 °C, wanted at most 42\.0 °C; let it cool"):
        run(controller, journal)
    assert not [m for m in controller.heard if isinstance(m, Demand)]


def test_a_plan_beyond_the_bench_is_refused_without_a_word_to_it(journal: Journal) -> None:
    controller = Bench()
    hot = plan(PLAN.replace("to_c = 41", "to_c = 104"))
    with pytest.raises(InputError, match="above the bath's limit"):
        run(controller, journal, plan=hot)
    assert controller.heard == []


def test_the_wrong_board_is_refused(journal: Journal) -> None:
    named = BENCH.replace("altitude_m", 'board = "atmega2560"\nserial_number = 12\naltitude_m')
    with pytest.raises(MismatchError) as caught:
        run(Bench(), journal, bench=bench_file(named))
    assert len(caught.value.faults) == 2


def test_all_faults_at_rest_are_told_at_once(journal: Journal) -> None:
    controller = Bench(bath_fault=4, lift_sum=(ABSENT,) * 6)
    with pytest.raises(BenchFaultError) as caught:
        run(controller, journal)
    # Bath probe and two loaded gauges.
    assert len(caught.value.faults) == 3


def test_a_check_shows_every_line_and_heats_nothing() -> None:
    controller = Bench(lift_sum=(0, 500, 500, 500, 500, 500))
    checks = check_bench(Link(VirtualPort(controller)), bench_file(), (1, 2))
    assert [c.what for c in checks if not c.ok] == ["station 1 gauge"]
    assert len(checks) == 1 + 3 + 4 + 2 * 2
    assert not [m for m in controller.heard if isinstance(m, Demand)]


def test_a_disk_that_is_too_small_is_told(tmp_path: Path) -> None:
    assert check_disk(tmp_path / "night.db", 1000).ok
    assert not check_disk(tmp_path / "night.db", 10**18).ok


def test_what_a_person_did_beforehand_stands_at_the_runs_beginning(journal: Journal) -> None:
    outcome = run(Bench(), journal, remarks=(("attended", "somebody stays"),))
    events = journal.events(outcome.run_id)
    assert ("attended", "somebody stays") in [(e.kind, e.text) for e in events[:3]]
    assert journal.verify_chain(outcome.run_id) > 0
