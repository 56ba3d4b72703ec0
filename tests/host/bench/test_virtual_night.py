"""Nights on the virtual bench: the real controller sources, over the plain and the serial port."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from host.bench.nights import BENCH, PLAN, bench_file, plan
from host.bench.served import on_pty, on_socket
from proofbath.bench.link import Link
from proofbath.bench.loop import Outcome
from proofbath.bench.night import check_bench, run_night
from proofbath.bench.notes import notes_in
from proofbath.bench.record import run_record
from proofbath.bench.serial_port import SerialPort
from proofbath.bench.virtual_port import VirtualPort
from proofbath.errors import BenchFaultError, ProofbathError
from proofbath.store.journal import Journal
from proofbath.virtual.bench import VirtualBench
from proofbath.wire.table import BootCause

WARM = BENCH.replace("seed = 3", "seed = 3\nbath.start_c = 38.0")
FAULT = """
[[virtual.fault]]
kind = "{kind}"
at_s = 60.0
"""


@pytest.fixture
def journal(tmp_path: Path) -> Journal:
    return Journal(tmp_path / "night.db")


class HostGoneError(ProofbathError):
    """What a test ends the host with."""


def bench_with(fault: str = "") -> VirtualBench:
    text = WARM + FAULT.format(kind=fault) if fault else WARM
    virtual = bench_file(text).virtual
    assert virtual is not None
    return VirtualBench(virtual)


class Counting:
    """A virtual bench that does something of its own at one tick."""

    def __init__(self, bench: VirtualBench, at: int, act: Callable[[], None]) -> None:
        self.bench, self.at, self.act = bench, at, act
        self.ticks = 0

    def advance(self, data: bytes) -> bytes:
        self.ticks += 1
        if self.ticks == self.at:
            self.act()
        return self.bench.advance(data)


def run(port: Any, journal: Journal, clear: bool = True) -> Outcome:
    return run_night(
        Link(port), plan(), bench_file(WARM), journal, clear=clear, started=lambda: "t"
    )


def test_a_night_on_the_real_controller_is_done_and_leaves_everything_off(
    journal: Journal,
) -> None:
    bench = bench_with()
    outcome = run(VirtualPort(bench), journal)
    assert (outcome.status, outcome.reason) == ("done", "")
    assert bench.get("output.heater") == bench.get("output.element_feed") == 0
    record = run_record(journal.samples(1), bench_file(WARM).calibration)
    assert record.bath_c[0] == pytest.approx(38.0, abs=0.1)
    # The bench file's model is another bath's, so the soak at 41 °C begins with an overshoot.
    assert np.max(record.bath_c) == pytest.approx(41.0, abs=1.0)
    assert journal.verify_chain(1) > 0


@pytest.mark.parametrize("way", [on_pty, on_socket], ids=["pty", "socket"])
def test_a_night_over_a_serial_port_is_the_same(way: Any, journal: Journal) -> None:
    run(VirtualPort(bench_with()), journal)
    with way(bench_with()) as served, closing(SerialPort(served.url)) as port:
        served.start()
        assert run(port, journal).status == "done"
    plain, serial = journal.samples(1), journal.samples(2)
    # The greeting may take a tick more or less over a port; the plant's noise differs by that.
    assert len(serial) == pytest.approx(len(plain), rel=0.1)
    assert set(np.diff(serial["sequence"]).tolist()) == {1}


HEATED = (
    PLAN[: PLAN.index("[[step]]")]
    .replace(
        'name = "Teal-82"', 'name = "Heron-103"\nkind = "heater-assisted"\nelement_max_a = 0.8'
    )
    .replace("cap_c = 105", "cap_c = 105\nelement_ohm = 15")
    .replace('batch = "ferry 12"', 'batch = "ferry 12"\nstage = "trial"')
    + """
[[step]]
kind = "soak"
to_c = 39
at_least_s = 60

[[step]]
kind = "energise"
element_a = 0.75
at_least_s = 60
at_most_s = 90
"""
)
UNITS = """
[[virtual.unit]]
serial = "A1"
station = 1

[[virtual.unit]]
serial = "REF"
station = 3
"""


def test_elements_are_fed_what_the_plan_asks_and_the_others_nothing(journal: Journal) -> None:
    bench = bench_file(WARM + UNITS)
    assert bench.virtual is not None
    port = VirtualPort(VirtualBench(bench.virtual))
    outcome = run_night(Link(port), plan(HEATED), bench, journal, clear=True, started=lambda: "t")
    assert outcome.status == "done"
    record = run_record(journal.samples(1), bench.calibration)
    fed = record.element_a[-300:-50]
    assert fed[:, [0, 2]] == pytest.approx(0.75, abs=0.005)
    assert np.abs(fed[:, [1, 3, 4, 5]]).max() < 0.005
    # The unit's 15 ohm at 25 degC, its lead of 0.2 ohm not taken off by this bench file.
    ohm = record.element_v[-300:-50, 0] / fed[:, 0]
    assert ohm == pytest.approx(15.2, abs=0.3)
    assert not record.station_flags.any()


RAMPED = (
    HEATED[: HEATED.index("[[step]]")]
    + """
[[step]]
kind = "soak"
to_c = 45
at_least_s = 60

[[step]]
kind = "ramp"
to_c = 47
rate_k_per_min = 1.0
element_a = [0.6, 0, 0, 0, 0, 0]

[[step]]
kind = "ramp"
to_c = 46
rate_k_per_min = 1.0
element_v = 6.0
stations = [3]

[[step]]
kind = "hold"
for_s = 30
element_a = 0
"""
)


def test_the_record_shows_the_current_that_flowed_while_the_bath_moved(journal: Journal) -> None:
    bench = bench_file(WARM + UNITS)
    assert bench.virtual is not None
    port = VirtualPort(VirtualBench(bench.virtual))
    outcome = run_night(Link(port), plan(RAMPED), bench, journal, clear=True, started=lambda: "t")
    assert outcome.status == "done"
    record = run_record(journal.samples(1), bench.calibration)
    begins = [note for note in notes_in(journal.events(1)) if note.code == "step_begin"]
    up_s, down_s = (note.t_s for note in begins if note.text == "ramping")
    (hold_s,) = (note.t_s for note in begins if note.text == "holding")
    rising = (record.t_s > up_s + 5.0) & (record.t_s < down_s - 1.0)
    falling = (record.t_s > down_s + 10.0) & (record.t_s < hold_s - 1.0)
    off = record.t_s > hold_s + 2.0
    assert record.bath_c[rising][-1] - record.bath_c[rising][0] > 1.0
    assert record.bath_c[falling][-1] - record.bath_c[falling][0] < -0.5
    assert record.element_a[rising, 0] == pytest.approx(0.6, abs=0.005)
    assert np.abs(record.element_a[rising][:, 1:]).max() < 0.005
    # Volts at the station's terminals: this bench file takes no lead off.
    assert record.element_v[falling, 2] == pytest.approx(6.0, abs=0.05)
    assert np.abs(record.element_a[falling, 0]).max() < 0.005
    assert np.abs(record.element_a[off]).max() < 0.005
    assert not record.station_flags.any()


@pytest.mark.parametrize(
    ("fault", "reason"),
    [
        ("stirrer_stopped", "stirrer_stopped"),
        ("level_low", "level_low"),
        ("emergency_stop", "emergency_stop"),
        ("bath_probe_open", "bath_probe_fault"),
        ("guard_probe_short", "guard_probe_fault"),
        ("heater_open", "heater_open"),
    ],
)
def test_a_fault_of_the_bench_ends_the_night_with_its_reason(
    fault: str, reason: str, journal: Journal
) -> None:
    bench = bench_with(fault)
    outcome = run(VirtualPort(bench), journal)
    assert (outcome.status, outcome.reason) == ("tripped", f"controller tripped: {reason}")
    assert bench.get("output.contactor") == bench.get("output.heater") == 0
    with pytest.raises(BenchFaultError):
        run(VirtualPort(bench), journal, clear=False)
    assert len(journal.runs()) == 1


@pytest.mark.parametrize(
    ("cause", "refused"),
    [
        (BootCause.POWER_ON, "power on"),
        (BootCause.BROWN_OUT, "brown out"),
        (BootCause.WATCHDOG, "watchdog"),
        (BootCause.UNKNOWN, "unknown boot"),
        (BootCause.EXTERNAL, ""),
    ],
)
def test_a_controller_that_restarts_ends_the_night_and_heats_no_more_unasked(
    cause: BootCause, refused: str, journal: Journal
) -> None:
    bench = bench_with()
    outcome = run(VirtualPort(Counting(bench, 700, lambda: bench.boot(cause))), journal)
    assert outcome.status in ("lost", "tripped")
    assert bench.get("output.heater") == bench.get("output.contactor") == 0
    if refused:
        with pytest.raises(BenchFaultError, match=f"{refused}; find and remove the cause"):
            run(VirtualPort(bench), journal, clear=False)
    assert run(VirtualPort(bench), journal, clear=bool(refused)).status == "done"


def test_a_new_bench_heats_only_after_a_person_cleared_it(journal: Journal) -> None:
    with pytest.raises(BenchFaultError, match="power on; find and remove the cause"):
        run(VirtualPort(bench_with()), journal, clear=False)
    assert journal.runs() == []


def test_a_host_that_vanishes_leaves_the_bench_off_by_the_lease(journal: Journal) -> None:
    bench = bench_with()

    class Vanishing:
        ticks = 0

        def advance(self, data: bytes) -> bytes:
            self.ticks += 1
            if self.ticks > 700:  # from here on nothing of the host arrives any more
                raise HostGoneError("gone")
            return bench.advance(data)

    with pytest.raises(HostGoneError):
        run(VirtualPort(Vanishing()), journal)
    assert bench.get("output.contactor") == 1
    for _ in range(20):
        bench.advance(b"")
    assert bench.get("output.heater") == 0
    for _ in range(11):
        bench.advance(b"")
    assert bench.get("output.contactor") == 0


def test_a_check_shows_the_latched_trip_and_nothing_else_wrong() -> None:
    checks = check_bench(Link(VirtualPort(bench_with())), bench_file(WARM), (1, 3))
    (fault,) = [check.fault() for check in checks if not check.ok]
    assert fault.startswith("latched trip: controller is tripped (1): power on")
