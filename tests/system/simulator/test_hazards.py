"""Each fault of the hazard table on the AVR binary, with the host's own loop, in one part each.

The part is one in which the fault shows, where there is one.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from firmware.bench import OFF, USUAL
from firmware.refusals import REFUSALS
from proofbath.bench.simulator_port import Simulator
from proofbath.store.journal import Journal
from proofbath.wire.hazard_rows import nights_of_faults
from proofbath.wire.hazards import Between, Fault, Link, Part
from proofbath.wire.table import (
    BootCause,
    Refused,
    RefusedReason,
    State,
    StationFlag,
    TripReason,
)
from system.fault_night import Faulty, check_end, description
from system.simulator.bench import SimulatedBench


class SimulatedPlant:
    """The simulator with the faults of a virtual bench."""

    def __init__(self, elf: Path) -> None:
        self.simulator = Simulator(elf, description().virtual)
        self.advance = self.simulator.advance
        self.get = self.simulator.get

    def boot(self, cause: BootCause) -> None:
        self.simulator.boot(cause)

    def begin(self, kind: str, station: int, for_s: float, size: float) -> None:
        now_s = self.get("time_s")
        self.simulator.command(f"fault {kind} {station} {now_s!r} {now_s + for_s!r} {size!r}")


ROWS = [row for row in nights_of_faults() if row.kind != Between.WATCHDOG]
"""The watchdog bites by itself only: test_boot.py lets it."""


def part_that_shows(row: Fault | Link) -> Part:
    if row.end.by or row.end.flag:
        return Part.HOLDING
    return next((part for part, end in row.differs.items() if end.by or end.flag), Part.HOLDING)


@pytest.mark.parametrize("row", ROWS, ids=[f"{r.kind}-{r.size:g}" for r in ROWS])
def test_a_fault_ends_as_it_must(row: Fault | Link, mega: Path, tmp_path: Path) -> None:
    plant = SimulatedPlant(mega)
    try:
        journal = Journal(tmp_path / "journal.sqlite")
        check_end(Faulty(row, part_that_shows(row), plant), journal)
    finally:
        plant.simulator.close()


def test_heater_on_longer_than_allowed(bench: SimulatedBench) -> None:
    bench.ready(USUAL._replace(heater_on_limit_s=5))
    for _ in bench.hold(12.0, 1000):  # 3 s of stirring stand before the heat
        pass
    assert bench.sample.state == State.TRIPPED
    assert bench.sample.trip_reason == TripReason.HEATER_ON_LIMIT
    assert bench.outputs_off()


def test_element_on_longer_than_allowed(bench: SimulatedBench) -> None:
    bench.ready(USUAL._replace(element_on_limit_s=(5, *USUAL.element_on_limit_s[1:])))
    for _ in bench.hold(11.0, 0, (400, 400, *OFF[2:])):  # 3 s of stirring stand before
        pass
    assert bench.sample.state == State.LIVE
    assert bench.sample.station_flags == (StationFlag.ELEMENT_TIME, *OFF[1:])
    assert bench.get("output.station_switch.1") == 0
    assert bench.get("output.station_switch.2") == 1


@pytest.mark.parametrize("reason", REFUSALS)
def test_what_is_not_to_be_done_is_refused_with_its_reason(
    bench: SimulatedBench, reason: RefusedReason
) -> None:
    bench.tick(REFUSALS[reason](bench))
    bench.tick()  # an answer may wait for the line
    assert bench.last(Refused).reason == reason
