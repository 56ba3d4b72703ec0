"""A night over a pseudo-terminal and pyserial on the AVR binary, beside the same on the library."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

import numpy as np
import pytest

from host.bench.nights import BENCH, PLAN, bench_file, plan
from proofbath.bench.curves import unit_records
from proofbath.bench.description import BenchFile
from proofbath.bench.link import Link
from proofbath.bench.night import run_night
from proofbath.bench.port import Port
from proofbath.bench.run import read_run
from proofbath.bench.serial_port import SerialPort
from proofbath.bench.simulator_port import Simulator
from proofbath.bench.virtual_port import VirtualPort
from proofbath.curve.analyse import analyse
from proofbath.store.journal import Journal
from proofbath.virtual.bench import VirtualBench
from proofbath.wire.table import TICK_MS

TWENTY_MINUTES = 20 * 60 * 1000 // TICK_MS
UNITS = """
bath.start_c = 74.0
bath.heater_w = 2000
bath.coil_w_per_k = 15

[[virtual.unit]]
serial = "A1"
station = 1

[[virtual.unit]]
serial = "REF"
station = 3
melting_c = 92.0
"""
RAMPS = """
[[step]]
kind = "soak"
to_c = 75
at_least_s = 60
purpose = "conditioning"

[[step]]
kind = "ramp"
to_c = 87
rate_k_per_min = 1.5
cycle = 1

[[step]]
kind = "ramp"
to_c = 81
rate_k_per_min = 1.0
cycle = 1
"""


class TerminalPort:
    """The simulator in lock step, its bytes through the terminal and the host's serial port."""

    name = "terminal"

    def __init__(self, simulator: Simulator) -> None:
        self._simulator = simulator
        simulator.advance(b"")
        self._serial = SerialPort(simulator.terminal)
        self._written, self._read = map(int, simulator.command("counts").split())
        self._ticks = 0

    def read(self) -> bytes:
        self._ticks += 1
        us = TICK_MS * 1000
        answer = self._simulator.command(f"advance {us} {self._written}")
        sent = int(answer.split()[1])
        data = b""
        while self._read < sent:
            part = self._serial.read()
            self._read += len(part)
            data += part
        return data

    def write(self, data: bytes) -> None:
        self._written += len(data)
        self._serial.write(data)

    def now_s(self) -> float:
        return self._ticks * TICK_MS / 1000

    def close(self) -> None:
        self._serial.close()


def night(port: Port, bench: BenchFile, journal: Journal) -> int:
    head, _, _ = PLAN.partition("[[step]]")
    outcome = run_night(
        Link(port), plan(head + RAMPS), bench, journal, clear=True, started=lambda: "t"
    )
    assert (outcome.status, outcome.reason) == ("done", "")
    return outcome.run_id


def starts_c(journal: Journal, run_id: int) -> dict[int, float]:
    """Start-to-open of each station."""
    found = {}
    for station, record in unit_records(read_run(journal, run_id)).items():
        value = analyse(record, rated_lift_mm=8.0).quantities["start_to_open_c"].value
        assert value is not None
        found[station] = value
    return found


def test_a_night_through_the_terminal_gives_the_same_answers(mega: Path, tmp_path: Path) -> None:
    text = BENCH.replace("heater_w = 2000", "heater_w = 2000\ncooling_w_per_k = 15")
    bench = bench_file(text.replace("seed = 3", "seed = 3" + UNITS))
    assert bench.virtual is not None
    journal = Journal(tmp_path / "night.db")

    native = VirtualBench(bench.virtual)
    native.advance(b"")
    ours = night(VirtualPort(native), bench, journal)
    with closing(Simulator(mega, bench.virtual)) as simulator:
        with closing(TerminalPort(simulator)) as port:
            theirs = night(port, bench, journal)
        assert simulator.get("output.heater") == simulator.get("output.element_feed") == 0

    here, there = journal.samples(ours), journal.samples(theirs)
    assert len(here) == len(there) > TWENTY_MINUTES
    assert set(np.diff(here["sequence"]).tolist()) == {1}
    for field in here.dtype.names or ():
        if field != "heater_on_ms":  # follows the binary's own clock, see test_same_answers
            assert np.array_equal(here[field], there[field]), field
    starts = starts_c(journal, ours)
    assert starts[1] != pytest.approx(starts[3], abs=1.0)
    assert starts_c(journal, theirs) == starts
