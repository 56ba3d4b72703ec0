"""What the controller finds wrong in itself, provoked on the AVR binary, outputs on the pins."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest

from firmware.bench import OFF, USUAL
from proofbath.wire.table import (
    BootCause,
    Clear,
    Identity,
    Refused,
    RefusedReason,
    State,
    Trip,
    TripReason,
)
from system.simulator.bench import SimulatedBench
from system.simulator.conftest import NewBench

BOARDS = ["atmega2560", "atmega328p"]
TWO_STATIONS = USUAL._replace(element_max_code=(2400, 2400, 0, 0, 0, 0))
OFF_WITHIN_US = 100_000
GUARD_BYTES = 32
RETURN = (0x08, 0x95)
"""The instruction RET, lowest byte first (AVR instruction set manual: 1001 0101 0000 1000)."""


def address_of(elf: Path, symbol: str) -> int:
    """Address of a symbol, or of the function of this name."""
    command = ["avr-nm", "-C", str(elf)]
    listed = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    found = re.findall(rf"^(\w+) \w (?:.*::)?{symbol}\b(?!.*::)", listed, re.MULTILINE)
    assert len(found) == 1, listed
    return int(found[0], 16)


def flash_of(elf: Path) -> bytes:
    """What stands in flash from address 0 on."""
    image = elf.with_suffix(".flash")
    subprocess.run(["avr-objcopy", "-O", "binary", "-R", ".eeprom", elf, image], check=True)
    return image.read_bytes()


@pytest.fixture(params=BOARDS)
def elf(request: pytest.FixtureRequest, build: Path, tmp_path: Path) -> Path:
    """A firmware of each board, in a folder of this test's own."""
    name = f"rig_controller_{request.param}.elf"
    copy = tmp_path / name
    copy.write_bytes((build / name).read_bytes())
    (tmp_path / "proofbath_simulator").symlink_to(build / "proofbath_simulator")
    return copy


@pytest.fixture
def bench(new_bench: NewBench, elf: Path) -> SimulatedBench:
    """Heating at full power with one element on."""
    bench = new_bench(elf=elf, bath__start_c=60.0)
    bench.ready(TWO_STATIONS)
    for sample in bench.hold(5.0, 1000, (400, *OFF[1:])):
        assert sample.state == State.LIVE
    assert bench.get("output.heater") == bench.get("output.station_switch.1") == 1
    bench.changes()
    return bench


def assert_trips(bench: SimulatedBench, reason: TripReason, ticks: int) -> None:
    """Every output goes off at most 100 ms of processor time after the tick that shows the cause.

    The tick begins 36 ms after the one before; a cause in it shows in the next.
    """
    provoked_us = bench.now_us()
    for sample in bench.hold((ticks + 1) / 10, 1000, (400, *OFF[1:])):
        if sample.state == State.TRIPPED:
            break
    assert sample.trip_reason == reason
    assert bench.last(Trip).reason == reason
    off = {c.name: c.at_us for c in bench.changes() if not c.on}
    assert set(off) >= {"contactor", "heater", "element_feed", "station_switch.1"}
    assert max(off.values()) <= provoked_us + ticks * 100_000 + OFF_WITHIN_US
    assert bench.outputs_off()
    bench.tick()
    bench.boot(BootCause.EXTERNAL)
    assert bench.last(Identity).trip_reason == reason


def assert_boot_trips(bench: SimulatedBench, reason: TripReason) -> None:
    """The boot latches the reason, nothing goes on, and no clear takes it away."""
    bench.boot(BootCause.EXTERNAL)
    assert bench.last(Identity).trip_reason == bench.sample.trip_reason == reason
    bench.tick(Clear(bench.last(Identity).trip_number))
    assert bench.last(Refused).reason == RefusedReason.CAUSE_PRESENT
    assert bench.sample.state == State.TRIPPED
    assert bench.outputs_off()
    assert not [c for c in bench.changes() if c.on]


def recovers(bench: SimulatedBench) -> None:
    """The next boot finds nothing wrong; a person clears the trip."""
    bench.boot(BootCause.EXTERNAL)
    bench.tick(Clear(bench.last(Identity).trip_number))
    assert bench.sample.state == State.READY


@pytest.mark.parametrize("offset", [0, 8, 9, 10, -1])
def test_flipped_bit_of_program_memory(bench: SimulatedBench, elf: Path, offset: int) -> None:
    """In the stamp's name, length and checksum, and in the last byte of the program."""
    flash = flash_of(elf)
    address = flash.index(b"program=") + offset if offset >= 0 else len(flash) + offset
    bench.simulator.command(f"poke_program {address} {flash[address] ^ 0x08}")
    assert_boot_trips(bench, TripReason.PROGRAM_MEMORY)
    bench.simulator.command(f"poke_program {address} {flash[address]}")
    recovers(bench)


@pytest.mark.parametrize("probe", [0, 1])
def test_spoiled_register_that_takes_nothing_more(bench: SimulatedBench, probe: int) -> None:
    bench.simulator.command(f"spoil_register {probe} 3 255 1")  # high threshold, as at power-on
    assert_trips(bench, TripReason.PART_READ_BACK, 3)


def test_spoiled_register_is_mended(bench: SimulatedBench) -> None:
    for probe, register, value in [(0, 3, 255), (1, 6, 0), (0, 0, 0)]:
        bench.simulator.command(f"spoil_register {probe} {register} {value} 0")
        for sample in bench.hold(1.0, 1000):
            assert sample.state == State.LIVE


@pytest.mark.parametrize("converter", ["gauge", "current", "voltage"])
@pytest.mark.parametrize("share", [-0.05, 0.05])
def test_reference_that_shifts(bench: SimulatedBench, converter: str, share: float) -> None:
    bench.fault(f"{converter}_converter_off", 0, share)
    assert_trips(bench, TripReason.REFERENCE_CHANNEL, 3)


def test_reference_that_shifts_within_its_band(bench: SimulatedBench) -> None:
    """1 % of half scale is half of what is allowed."""
    for converter in ("gauge", "current", "voltage"):
        bench.fault(f"{converter}_converter_off", 0, 0.01)
    for sample in bench.hold(2.0, 1000):
        assert sample.state == State.LIVE


def test_overwritten_stack_guard(bench: SimulatedBench, elf: Path) -> None:
    last = (address_of(elf, "__heap_start") & 0xFFFF) + GUARD_BYTES - 1
    bench.simulator.command(f"poke_memory {last} 0")
    assert_trips(bench, TripReason.STACK_OVERRUN, 1)
    recovers(bench)


def test_skipped_duty_trips_and_then_starves_the_watchdog(bench: SimulatedBench, elf: Path) -> None:
    """The duty that judges returns before it has done anything."""
    address = address_of(elf, "judge")
    for at, byte in enumerate(RETURN):
        bench.simulator.command(f"poke_program {address + at} {byte}")
    provoked_us = bench.now_us()
    for _ in bench.hold(0.2, 1000, (400, *OFF[1:])):
        pass
    assert bench.sample.trip_reason == TripReason.PROGRAM_FLOW
    off = {c.name: c.at_us for c in bench.changes() if not c.on}
    assert set(off) >= {"contactor", "heater", "element_feed", "station_switch.1"}
    assert max(off.values()) <= provoked_us + OFF_WITHIN_US + OFF_WITHIN_US
    assert bench.get("resets") == 0
    bench.hear(bench.simulator.advance_us(1_200_000))
    assert bench.get("resets") == 1
    assert bench.outputs_off()


@pytest.mark.parametrize("rate", [0.75, 1.3])
def test_clocks_that_disagree(bench: SimulatedBench, rate: float) -> None:
    bench.simulator.command(f"watchdog_rate {rate}")
    assert_boot_trips(bench, TripReason.CLOCKS_DISAGREE)
    bench.simulator.command("watchdog_rate 1")
    recovers(bench)


@pytest.mark.parametrize("rate", [0.85, 1.2])
def test_clocks_within_a_fifth(bench: SimulatedBench, rate: float) -> None:
    bench.simulator.command(f"watchdog_rate {rate}")
    bench.boot(BootCause.EXTERNAL)
    assert bench.sample.state == State.READY
