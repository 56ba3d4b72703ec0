"""The serial port on a real pseudo-terminal and a real TCP socket."""

from __future__ import annotations

import errno
import itertools
import os
import socket
import tty
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, closing
from pathlib import Path
from typing import Any

import pytest
from serial import SerialException

from host.bench.controller import IDENTITY, Controller
from host.bench.nights import bench_file, plan
from host.bench.served import Served, on_pty, on_socket
from proofbath.bench.link import Link
from proofbath.bench.night import Watch, run_night
from proofbath.bench.port import PortLostError
from proofbath.bench.serial_port import SerialPort
from proofbath.bench.start import greet
from proofbath.bench.stream import refusal
from proofbath.errors import BenchFaultError, InputError
from proofbath.store.journal import Journal
from proofbath.wire.table import State

WAYS = [on_pty, on_socket]
Way = Callable[[Any], AbstractContextManager[Served]]


def healthy() -> Controller:
    controller = Controller()
    controller.heat_k_per_min = 3.0
    return controller


@pytest.fixture(params=WAYS, ids=["pty", "socket"])
def served(request: pytest.FixtureRequest) -> Iterator[Served]:
    way: Way = request.param
    with way(healthy()) as served:
        yield served


def opened(served: Served, **options: Any) -> SerialPort:
    port = SerialPort(served.url, wait_s=0.05, **options)
    served.start()
    return port


def night(port: SerialPort, journal: Journal, tell: Callable[[Any], None] | None = None) -> Any:
    reads = itertools.count()  # the commits' clock moves 0.1 s a look at it
    watch = Watch(
        lambda _: None, tell or (lambda _: None), deque(), wall_s=lambda: next(reads) * 0.1
    )
    return run_night(Link(port), plan(), bench_file(), journal, watch=watch, started=lambda: "t")


def test_a_night_over_the_port_is_that_of_the_virtual_port(served: Served, tmp_path: Path) -> None:
    journal = Journal(tmp_path / "night.db")
    with closing(opened(served)) as port:
        assert night(port, journal).status == "done"
    assert served.bench.state == State.READY  # type: ignore[attr-defined]
    sequences = journal.samples(1)["sequence"].tolist()
    assert sequences == list(range(sequences[0], sequences[0] + len(sequences)))


def test_bytes_that_trickle_in_become_whole_lines(served: Served) -> None:
    served.portion = 1
    with closing(opened(served)) as port:
        assert greet(Link(port)).serial_number == 4711


def test_an_unplugged_port_ends_the_run_and_is_never_written_to_again(
    served: Served, tmp_path: Path
) -> None:
    journal = Journal(tmp_path / "night.db")
    ticks: list[int] = []

    def watch(_: Any) -> None:
        ticks.append(1)
        if len(ticks) == 3:
            served.unplug()

    with closing(opened(served)) as port:
        outcome = night(port, journal, watch)
        assert outcome.status == "lost"
        assert "check plug and cable" in outcome.reason
        with pytest.raises(PortLostError):
            port.read()
    (line,) = journal.runs()
    assert line.status == "lost"
    assert journal.verify_chain(1) > 2


def test_a_port_plugged_in_again_serves_a_new_run(tmp_path: Path) -> None:
    controller = healthy()
    with on_pty(controller) as first, closing(opened(first)) as port:
        greet(Link(port))
        first.unplug()
        with pytest.raises(PortLostError):
            list(iter(port.read, None))
    controller.reboot()
    with on_pty(controller) as second, closing(opened(second)) as port:
        assert night(port, Journal(tmp_path / "night.db")).status == "done"


def test_silence_of_the_far_end_is_told_by_the_wall_clock(tmp_path: Path) -> None:
    controller = healthy()
    clock = itertools.count()
    with on_pty(controller) as served:
        port = SerialPort(served.url, wall_s=lambda: next(clock) * 0.01, wait_s=0.001)
        served.start()

        def mute(_: Any) -> None:
            controller.muted = True

        with closing(port):
            outcome = night(port, Journal(tmp_path / "night.db"), mute)
    assert (outcome.status, "no sample for 10 s" in outcome.reason) == ("lost", True)
    assert controller.state == State.READY


def test_garbage_on_the_line_costs_only_itself(served: Served, tmp_path: Path) -> None:
    served.bench.noise = bytes(range(256)) + b"\n"  # type: ignore[attr-defined]
    journal = Journal(tmp_path / "night.db")
    with closing(opened(served)) as port:
        assert night(port, journal).status == "done"
    assert {e.kind for e in journal.events(1)} >= {"garbled"}


def test_a_flood_is_read_on_and_does_not_grow_without_end(served: Served) -> None:
    served.hurry.set()
    with closing(opened(served)) as port:
        link = Link(port)
        samples = sum(len(link.poll()) for _ in range(200))
    assert samples > 200


def test_a_busy_port_is_refused() -> None:
    with (
        on_pty(healthy()) as served,
        closing(SerialPort(served.url)),
        pytest.raises(BenchFaultError, match="in use; end the other program"),
    ):
        SerialPort(served.url)


def test_a_closed_port_can_be_opened_again() -> None:
    with on_pty(healthy()) as served:
        SerialPort(served.url).close()
        served.start()
        with closing(SerialPort(served.url)) as again:
            assert greet(Link(again)).serial_number == IDENTITY.serial_number


def test_a_missing_port_is_wrong_input(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="not there; plug it in"):
        SerialPort(str(tmp_path / "ttyUSB0"))


def test_a_port_without_permission_is_wrong_input() -> None:
    # Made by hand, as the superuser of a build machine may open everything.
    error = refusal("/dev/ttyUSB0", SerialException(errno.EACCES, "could not open port"))
    assert isinstance(error, InputError)
    assert "join the group that owns the device" in str(error)


@pytest.mark.parametrize("url", ["nonsense://here", "socket://nohost", "socket://127.0.0.1:x"])
def test_a_name_that_is_no_port_is_refused(url: str) -> None:
    with pytest.raises((InputError, BenchFaultError), match="port "):
        SerialPort(url)


def test_a_file_that_is_no_terminal_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "file"
    path.touch()
    with pytest.raises(BenchFaultError, match="cannot be opened"):
        SerialPort(str(path))


def test_a_simulator_that_does_not_run_is_a_bench_fault() -> None:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        url = f"socket://127.0.0.1:{listener.getsockname()[1]}"
    with pytest.raises(BenchFaultError, match="check device and cable"):
        SerialPort(url)


def test_a_far_end_that_takes_nothing_is_a_lost_port() -> None:
    master, slave = os.openpty()
    tty.setraw(slave)
    with closing(SerialPort(os.ttyname(slave))) as port, pytest.raises(PortLostError):
        port.write(b"x" * 1_000_000)
    os.close(master)
    os.close(slave)
