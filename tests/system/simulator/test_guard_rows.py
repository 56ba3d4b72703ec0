"""Each guard row by its plant fault on the AVR binary, outputs watched on the pins."""

from __future__ import annotations

from pathlib import Path

import pytest

from firmware.bench import OFF
from firmware.test_bench_faults import (
    ONE_FED,
    ROWS,
    STATION_ROWS,
    Row,
    escalates,
    finds_broken_lead,
    flags_hot_core,
    senses_rotation,
    stops_unseen_heat,
)
from proofbath.wire.table import BootCause, Identity, State, StationFlag, Trip, TripReason
from system.simulator.bench import SimulatedBench
from system.simulator.conftest import NewBench

OFF_WITHIN_US = 100_000
SWITCHED = ("contactor", "heater", "element_feed", "station_switch.1")


def switched_off_us(bench: SimulatedBench, names: tuple[str, ...]) -> int:
    """Time at which the last of the outputs went off."""
    changes = [c for c in bench.changes() if c.name in names]
    assert all(not c.on for c in {c.name: c for c in changes}.values())
    return max(c.at_us for c in changes if not c.on)


@pytest.mark.parametrize("row", ROWS, ids=[f"{r.reason.name}-{r.kind}-{r.duty}" for r in ROWS])
def test_fault_opens_every_output_within_a_tick_and_stays_latched(
    bench: SimulatedBench, row: Row
) -> None:
    """Off at most 100 ms of simulated processor time after the sample that completes the cause."""
    element = OFF if row.reason == TripReason.CLIMB_WHILE_OFF else ONE_FED
    bench.ready(row.limits)
    for sample in bench.hold(5.0, row.duty or 100, element):
        assert sample.state == State.LIVE
    quiet_s = 150.0 if row.reason == TripReason.CLIMB_WHILE_OFF else 5.0
    for sample in bench.hold(quiet_s, row.duty, element):
        assert sample.state == State.LIVE
    assert bench.get("output.contactor") == 1
    assert bench.get("output.station_switch.1") == (element != OFF)

    began_us = bench.now_us()
    bench.changes()
    bench.fault(row.kind, row.station, row.size, last_s=row.most_s)
    for sample in bench.hold(row.most_s + 0.1, row.duty, element):
        if sample.state == State.TRIPPED:
            break
    assert sample.trip_reason == row.reason
    off_us = switched_off_us(bench, SWITCHED)
    assert began_us < off_us <= sample.device_ms * 1000 + OFF_WITHIN_US
    least_us = began_us + (row.least_s - 0.1) * 1e6  # the tick begins 36 ms after the scan before
    assert least_us <= off_us
    assert bench.outputs_off(set_points=row.reaches_dac)
    notice = bench.last(Trip)

    bench.tick()  # two copies of the latch take 0.1 s to burn
    bench.boot(BootCause.EXTERNAL)
    assert bench.sample.state == State.TRIPPED
    assert bench.last(Identity).trip_number == notice.trip_number
    assert bench.last(Identity).trip_reason == row.reason
    assert not [c for c in bench.changes() if c.on]


def test_heat_that_goes_on_after_a_trip_escalates(bench: SimulatedBench) -> None:
    escalates(bench)
    assert [c.on for c in bench.changes() if c.name == "horn"][:1] == [True]


def test_board_without_a_pin_for_the_horn_escalates_too(new_bench: NewBench, build: Path) -> None:
    bench = new_bench(elf=build / "rig_controller_atmega328p.elf", bath__start_c=60.0)
    escalates(bench)
    assert not [c for c in bench.changes() if c.name == "horn"]


def test_broken_force_lead_is_found_at_rest(bench: SimulatedBench) -> None:
    finds_broken_lead(bench, "bath", "force_minus")


def test_heat_that_no_probe_shows_stops(bench: SimulatedBench) -> None:
    stops_unseen_heat(bench, "bath_probe_stuck", "guard_probe_stuck")


def test_dry_core_is_switched_off(bench: SimulatedBench) -> None:
    flags_hot_core(bench, "air_round_element", 125.0)


def test_rotation_contact_that_is_stuck_trips_at_rest(bench: SimulatedBench) -> None:
    senses_rotation(bench)


@pytest.mark.parametrize(("spike_ms", "trips"), [(0.5, False), (20.0, True)])
def test_spike_on_the_stop_line(bench: SimulatedBench, spike_ms: float, trips: bool) -> None:
    """Two looks a millisecond apart; a spike that one of them sees is none."""
    bench.ready()
    for _ in bench.hold(5.0, duty=500):
        pass
    for _ in range(5):
        bench.fault("estop_spike", 0, spike_ms, last_s=0.5)
        for _ in bench.hold(1.0, duty=500):
            pass
        assert (bench.sample.trip_reason == TripReason.EMERGENCY_STOP) == trips


@pytest.mark.parametrize(("kind", "size", "flag", "most_s"), STATION_ROWS)
def test_station_fault_opens_one_station_switch(
    bench: SimulatedBench, kind: str, size: float, flag: StationFlag, most_s: float
) -> None:
    on = (800,) * 6
    bench.ready()
    for sample in bench.hold(5.0, element_code=on):
        assert sample.station_flags == OFF
    bench.changes()
    bench.fault(kind, 2, size)
    for _ in bench.hold(most_s, element_code=on):
        pass
    assert bench.sample.station_flags == (0, flag, 0, 0, 0, 0)
    for sample in bench.hold(5.0, element_code=on):
        assert sample.state == State.LIVE
    assert [(c.name, c.on) for c in bench.changes()] == [("station_switch.2", False)]
    assert bench.get("output.element_code.2") == 0
