"""One process a bench, and the commands that reach it."""

from __future__ import annotations

import json
import os
import signal
import socket
import stat
import subprocess
import sys
from collections import deque
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from host.bench.controller import IDENTITY, Controller
from host.bench.nights import BENCH, bench_file
from host.bench.served import Served, on_pty
from proofbath.bench.connect import (
    bench_holder,
    bench_key,
    bench_last_taken,
    connected,
    control_path,
)
from proofbath.bench.control_socket import ControlSocket, command
from proofbath.bench.description import BenchFile
from proofbath.bench.lock import BenchLock
from proofbath.bench.start import greet
from proofbath.errors import BenchFaultError
from proofbath.files import read_toml
from proofbath.run.acts import Finish, Pause, Resume, Stop


@pytest.fixture
def served() -> Iterator[Served]:
    with on_pty(Controller()) as served:
        served.start()
        yield served


def at_port(url: str, name: str = "quay") -> Any:
    return bench_file(BENCH.replace('name = "quay"', f'name = "{name}"\nport = "{url}"'))


def test_a_bench_is_opened_locked_and_given_back(served: Served, tmp_path: Path) -> None:
    bench = at_port(served.url)
    with connected(bench, tmp_path) as link:
        assert link.port.name == served.url
        with (
            pytest.raises(BenchFaultError, match=f"in use by process {os.getpid()}"),
            connected(bench, tmp_path),
        ):
            pass
    with connected(bench, tmp_path):
        pass


def test_two_ways_to_one_port_do_not_meet(served: Served, tmp_path: Path) -> None:
    (tmp_path / "by-name").symlink_to(served.url)
    with (
        connected(at_port(served.url), tmp_path),
        pytest.raises(BenchFaultError, match="in use by process"),
        connected(at_port(str(tmp_path / "by-name"), "other"), tmp_path),
    ):
        pass


def test_two_ports_of_one_controller_do_not_meet(served: Served, tmp_path: Path) -> None:
    with on_pty(Controller()) as second:
        second.start()
        with (
            connected(at_port(served.url), tmp_path),
            pytest.raises(BenchFaultError, match="controller 4711: in use"),
            connected(at_port(second.url), tmp_path),
        ):
            pass


def test_two_controllers_run_side_by_side(served: Served, tmp_path: Path) -> None:
    with on_pty(Controller(IDENTITY._replace(serial_number=12))) as second:
        second.start()
        with (
            connected(at_port(served.url), tmp_path) as one,
            connected(at_port(second.url), tmp_path) as other,
        ):
            numbers = [greet(link).serial_number for link in (one, other)]
    assert numbers == [IDENTITY.serial_number, 12]


HOLDER = """
import sys
from pathlib import Path
from proofbath.bench.lock import BenchLock
lock = BenchLock("quay", Path(sys.argv[1]))
print("held", flush=True)
sys.stdin.read()
"""


def test_the_lock_of_a_killed_process_is_free(tmp_path: Path) -> None:
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)}
    with subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(tmp_path)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        env=environment,
    ) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == b"held\n"
        with pytest.raises(BenchFaultError, match=f"in use by process {process.pid}"):
            BenchLock("quay", tmp_path)
        process.send_signal(signal.SIGKILL)
    BenchLock("quay", tmp_path).close()


@pytest.fixture
def acts() -> deque[Any]:
    return deque()


@pytest.fixture
def control(tmp_path: Path, acts: deque[Any]) -> Iterator[ControlSocket]:
    with closing(ControlSocket(tmp_path / "b.sock", acts, lambda: '{"phase": "soaking"}')) as it:
        yield it


def test_a_stop_reaches_the_run_with_its_reason(control: ControlSocket, acts: deque[Any]) -> None:
    assert command(control.path, "stop smoke in the workshop") == ""
    command(control.path, "stop")
    assert list(acts) == [Stop("smoke in the workshop"), Stop("stopped by a command")]


def test_every_act_of_a_person_has_its_word(control: ControlSocket, acts: deque[Any]) -> None:
    for word in ("pause", "resume", "finish"):
        command(control.path, word)
    assert list(acts) == [Pause(), Resume(), Finish()]


def test_the_status_is_json(control: ControlSocket) -> None:
    assert json.loads(command(control.path, "status")) == {"phase": "soaking"}


@pytest.mark.parametrize("line", ["heat", "", "STOP", "stop\x00", "x" * 1000, "\udcff"])
def test_anything_else_is_refused(control: ControlSocket, acts: deque[Any], line: str) -> None:
    with socket.socket(socket.AF_UNIX) as client:
        client.connect(str(control.path))
        client.sendall(line.encode(errors="surrogateescape") + b"\n")
        assert client.recv(500).startswith(b"refused: no command")
    assert not acts


def test_a_client_that_says_nothing_or_goes_away_blocks_nobody(control: ControlSocket) -> None:
    with socket.socket(socket.AF_UNIX) as client:
        client.connect(str(control.path))
    assert command(control.path, "status")


def test_only_the_owner_may_command(control: ControlSocket) -> None:
    assert stat.S_IMODE(control.path.stat().st_mode) == 0o600


def test_no_run_is_told_so(tmp_path: Path, control: ControlSocket) -> None:
    with pytest.raises(BenchFaultError, match="no run on this bench"):
        command(tmp_path / "other.sock", "status")


def test_a_socket_left_by_a_killed_process_is_replaced(tmp_path: Path, acts: deque[Any]) -> None:
    path = tmp_path / "b.sock"
    with socket.socket(socket.AF_UNIX) as dead:
        dead.bind(str(path))
    with pytest.raises(BenchFaultError, match="no run on this bench"):
        command(path, "status")
    with closing(ControlSocket(path, acts, lambda: "{}")):
        assert command(path, "status") == "{}"
    assert not path.exists()


def test_a_benchs_key_is_where_its_controller_is(tmp_path: Path) -> None:
    assert bench_key(bench_file()) == "virtual quay"
    assert bench_key(at_port("socket://rig:7000")) == "socket://rig:7000"
    assert control_path(at_port("socket://rig:7000"), tmp_path).name == "socket-rig-7000.sock"


def test_two_virtual_benches_of_one_name_are_two(tmp_path: Path) -> None:
    """Each in its own workshop's folder; the same file by another way is the same bench."""
    paths = [tmp_path / name / "bench.toml" for name in ("a-b", "a", "a/b")]
    for path in paths:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(BENCH)
    one, two, three = (read_toml(path, BenchFile) for path in paths)
    assert len({bench_key(one), bench_key(two), bench_key(three)}) == 3
    assert len({control_path(bench, tmp_path) for bench in (one, two, three)}) == 3
    (tmp_path / "link.toml").symlink_to(paths[0])
    assert bench_key(read_toml(tmp_path / "link.toml", BenchFile)) == bench_key(one)
    changed = one.model_copy(update={"budget": None})
    assert bench_key(changed) == bench_key(one), "as calibrated today it is the same bench"
    with connected(one, tmp_path), connected(two, tmp_path):
        assert bench_holder(one, tmp_path) == os.getpid()
        assert bench_holder(three, tmp_path) is None
        with pytest.raises(BenchFaultError, match="in use by process"), connected(one, tmp_path):
            pass
    assert bench_holder(one, tmp_path) is None
    assert bench_last_taken(one, tmp_path) is not None
    assert bench_last_taken(three, tmp_path) is None


def test_real_benches_of_one_port_are_one_wherever_their_files_are(tmp_path: Path) -> None:
    texts = [BENCH.replace('name = "quay"', f'name = "{n}"\nport = "/dev/tty9"') for n in "ab"]
    for n, text in enumerate(texts):
        (tmp_path / f"{n}.toml").write_text(text)
    one, two = (read_toml(tmp_path / f"{n}.toml", BenchFile) for n in range(2))
    assert bench_key(one) == bench_key(two) == "/dev/tty9"
