"""Resets of the real binary: causes, the watchdog, and what the EEPROM keeps or has lost."""

from __future__ import annotations

from pathlib import Path

import pytest

from firmware.bench import OFF, USUAL
from proofbath.wire.table import (
    BootCause,
    Clear,
    Demand,
    Hello,
    Identity,
    LimitsInForce,
    Refused,
    RefusedReason,
    State,
    TripReason,
)
from system.simulator.bench import SimulatedBench
from system.simulator.conftest import NewBench

WATCHDOG_US = 1_000_000
WATCHDOG_SPREAD = 0.1
"""The data sheet's typical second; the simulated one is 1.024 s."""
LIMITS_COPIES = (52, 143)
"""Addresses of the two copies of the limits: behind trip, boot counter and serial number."""


def lose_copy(bench: SimulatedBench, address: int) -> None:
    """Change one byte of the EEPROM."""
    memory = bytearray.fromhex(bench.simulator.command("read_eeprom"))
    memory[address + 9] ^= 0x10
    bench.simulator.command(f"write_eeprom {memory.hex()}")


def live(bench: SimulatedBench) -> None:
    """Heat at full power with one element on."""
    bench.ready()
    for _ in bench.hold(5.0, 1000, (400, 0, 0, 0, 0, 0)):
        pass
    assert bench.get("output.heater") == bench.get("output.station_switch.1") == 1


def test_nothing_is_switched_while_it_starts(bench: SimulatedBench) -> None:
    assert bench.changes() == []
    assert bench.sample.outputs == 0
    assert bench.sample.trip_reason == TripReason.POWER_ON


@pytest.mark.parametrize(
    ("cause", "trip"),
    [
        (BootCause.POWER_ON, TripReason.POWER_ON),
        (BootCause.BROWN_OUT, TripReason.BROWN_OUT),
        (BootCause.UNKNOWN, TripReason.UNKNOWN_BOOT),
        (BootCause.EXTERNAL, TripReason.NONE),
    ],
)
def test_boot_cause_decides_and_every_reset_switches_off(
    bench: SimulatedBench, cause: BootCause, trip: TripReason
) -> None:
    live(bench)
    bench.changes()
    before_us = bench.now_us()
    bench.boot(cause)
    changes = bench.changes()
    assert {c.name for c in changes} >= {"contactor", "heater", "element_feed", "station_switch.1"}
    assert all(not c.on and c.at_us == before_us for c in changes)
    assert bench.last(Identity).boot_cause == cause
    assert bench.last(Identity).trip_reason == bench.sample.trip_reason == trip
    assert bench.sample.state == (State.READY if trip == TripReason.NONE else State.TRIPPED)


def test_hang_is_ended_by_the_watchdog_and_latched(bench: SimulatedBench) -> None:
    """A chip that never ends a bus transfer stops the loop; the processor resets itself."""
    live(bench)
    bench.changes()
    held_us = bench.now_us()
    bench.simulator.command("hold_bus 60000000")
    bench.hear(bench.simulator.advance_us(2_000_000))
    assert bench.get("resets") == 1
    off = {c.name: c.at_us - held_us for c in bench.changes() if not c.on}
    assert set(off) >= {"contactor", "heater", "element_feed", "station_switch.1"}
    for after_us in off.values():
        assert WATCHDOG_US * (1 - WATCHDOG_SPREAD) < after_us < WATCHDOG_US * (1 + WATCHDOG_SPREAD)

    bench.tick(Hello(1))
    assert bench.last(Identity).boot_cause == BootCause.WATCHDOG
    assert bench.last(Identity).trip_reason == TripReason.WATCHDOG
    at = bench.sample
    bench.tick(Demand(at.boot_id, at.sequence, 2000, 1000, 1, 0, OFF))
    assert bench.last(Refused).reason == RefusedReason.WRONG_STATE
    bench.boot(BootCause.EXTERNAL)
    assert bench.last(Identity).trip_reason == TripReason.WATCHDOG
    bench.tick(Clear(bench.last(Identity).trip_number))
    assert bench.sample.state == State.READY


def test_a_bus_that_is_slow_for_less_than_the_watchdog_costs_samples_only(
    bench: SimulatedBench,
) -> None:
    bench.ready()
    before = bench.sample.sequence
    bench.simulator.command("hold_bus 700000")
    for _ in range(20):
        bench.tick()
    assert bench.get("resets") == 0
    assert bench.sample.state == State.READY
    assert before + 10 < bench.sample.sequence < before + 20


def test_limits_trips_and_serial_number_outlive_power(new_bench: NewBench, tmp_path: Path) -> None:
    eeprom = ("--eeprom", str(tmp_path / "eeprom.bin"))
    first = new_bench(seed=4711, options=eeprom)
    first.ready()
    identity = first.last(Identity)
    for _ in range(10):
        first.tick()
    first.boot(BootCause.POWER_ON)
    assert first.last(LimitsInForce) == (1, *USUAL)
    for _ in range(10):
        first.tick()
    first.simulator.close()

    second = new_bench(seed=1, options=eeprom)
    second.tick(Hello(1))
    kept = second.last(Identity)
    assert kept.serial_number == 4711
    assert kept.boot_id == identity.boot_id + 2
    assert kept.trip_number == identity.trip_number + 1
    assert second.last(LimitsInForce) == (1, *USUAL)


def test_one_spoiled_copy_of_the_limits_is_repaired(bench: SimulatedBench) -> None:
    bench.ready()
    for _ in range(10):
        bench.tick()
    memory = bench.simulator.command("read_eeprom")
    for address in LIMITS_COPIES:
        lose_copy(bench, address)
        bench.boot(BootCause.EXTERNAL)
        assert bench.last(LimitsInForce) == (1, *USUAL)
        assert bench.sample.state == State.READY
    boot_counter = slice(2 * 28, 2 * 38)
    repaired = bench.simulator.command("read_eeprom")
    assert repaired.replace(repaired[boot_counter], "", 1) == memory.replace(
        memory[boot_counter], "", 1
    )


def test_limits_lost_in_both_copies_refuse_to_leave_tripped(bench: SimulatedBench) -> None:
    bench.ready()
    for _ in range(10):
        bench.tick()
    for address in LIMITS_COPIES:
        lose_copy(bench, address)
    bench.boot(BootCause.EXTERNAL)
    assert bench.last(LimitsInForce).valid == 0
    assert bench.sample.trip_reason == TripReason.LIMITS_MISSING
    bench.tick(Clear(bench.last(Identity).trip_number))
    assert bench.last(Refused).reason == RefusedReason.LIMITS_MISSING
    assert bench.sample.state == State.TRIPPED
    bench.ready()


def test_opening_the_port_of_a_board_that_resets_clears_nothing(new_bench: NewBench) -> None:
    """The client opens the serial port after the controller has been powered."""
    bench = new_bench(options=("--reset-on-open",))
    assert bench.get("resets") == 1
    bench.tick(Hello(1))
    assert bench.last(Identity).boot_cause == BootCause.EXTERNAL
    assert bench.sample.state == State.TRIPPED
