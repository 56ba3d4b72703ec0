"""The serial number's image in the AVR binary: what it says after its EEPROM was written."""

from __future__ import annotations

from pathlib import Path

import pytest

from firmware.bench import USUAL
from proofbath.bench.serial_image import EEPROM_BYTES, onto, serial_bytes
from proofbath.wire.table import BootCause, Hello, Identity, LimitsInForce, TripReason
from system.simulator.bench import SimulatedBench
from system.simulator.conftest import NewBench


def eeprom(bench: SimulatedBench) -> dict[int, int]:
    return dict(enumerate(bytes.fromhex(bench.simulator.command("read_eeprom"))))


def write(bench: SimulatedBench, image: dict[int, int]) -> None:
    there = eeprom(bench) | image
    bench.simulator.command(f"write_eeprom {bytes(there[a] for a in sorted(there)).hex()}")


@pytest.mark.parametrize("board", sorted(EEPROM_BYTES))
def test_new_controller_says_the_number_it_was_given(
    new_bench: NewBench, build: Path, board: str
) -> None:
    bench = new_bench(seed=7, elf=build / f"rig_controller_{board}.elf")
    assert len(eeprom(bench)) == EEPROM_BYTES[board]
    write(bench, dict.fromkeys(range(EEPROM_BYTES[board]), 255))
    bench.boot(BootCause.EXTERNAL)
    assert bench.last(Identity).serial_number == 0
    write(bench, serial_bytes(4711))
    bench.boot(BootCause.EXTERNAL)
    assert bench.last(Identity).serial_number == 4711


def test_used_controller_keeps_its_trip_and_limits(bench: SimulatedBench) -> None:
    bench.tick(USUAL)
    for _ in range(10):
        bench.tick(Hello(1))
    before = bench.last(Identity)
    write(bench, onto(eeprom(bench), 12, "atmega2560", "read back"))
    bench.boot(BootCause.EXTERNAL)
    after = bench.last(Identity)
    assert after.serial_number == 12
    assert after.boot_id == before.boot_id + 1
    assert (after.trip_number, after.trip_reason) == (before.trip_number, TripReason.POWER_ON)
    assert bench.last(LimitsInForce) == (1, *USUAL)
