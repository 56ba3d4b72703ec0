"""What the service manager is told, and the unit that starts the service."""

from __future__ import annotations

import asyncio
import getpass
import shutil
import socket
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

from host.web.committed import write_shop
from proofbath.cli.serve_service import unit_file
from proofbath.errors import InputError
from proofbath.web.systemd import notify, watchdog, watchdog_s


@pytest.fixture
def manager(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[socket.socket]:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as heard:
        heard.bind(str(tmp_path / "notify"))
        heard.settimeout(5)
        monkeypatch.setenv("NOTIFY_SOCKET", str(tmp_path / "notify"))
        yield heard


def test_the_manager_hears_that_it_is_up(manager: socket.socket) -> None:
    notify("READY=1")
    assert manager.recv(100) == b"READY=1"


def test_a_name_that_is_no_file_is_reached_too(monkeypatch: pytest.MonkeyPatch) -> None:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as heard:
        heard.bind("\0proofbath-test")  # sd_notify(3): "@" stands for the NUL byte
        monkeypatch.setenv("NOTIFY_SOCKET", "@proofbath-test")
        notify("STOPPING=1")
        assert heard.recv(100) == b"STOPPING=1"


def test_without_a_manager_nothing_happens(
    manager: socket.socket, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("NOTIFY_SOCKET")
    notify("READY=1")
    manager.setblocking(False)
    with pytest.raises(BlockingIOError):
        manager.recv(100)


@pytest.mark.parametrize(
    ("usec", "pid", "expected"),
    [("60000000", None, 60.0), ("60000000", "1", None), ("", None, None), ("0", None, None)],
)
def test_the_watchdog_is_fed_only_where_it_waits_for_us(
    monkeypatch: pytest.MonkeyPatch, usec: str, pid: str | None, expected: float | None
) -> None:
    monkeypatch.setenv("WATCHDOG_USEC", usec)
    monkeypatch.delenv("WATCHDOG_PID", raising=False)
    if pid:
        monkeypatch.setenv("WATCHDOG_PID", pid)
    assert watchdog_s() == expected


def test_signs_of_life_go_on(manager: socket.socket, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("WATCHDOG_USEC", "2000")
    monkeypatch.delenv("WATCHDOG_PID", raising=False)

    async def scene() -> list[bytes]:
        feeding = asyncio.create_task(watchdog())
        heard = [await asyncio.to_thread(manager.recv, 100) for _ in range(3)]
        feeding.cancel()
        return heard

    assert asyncio.run(scene()) == [b"WATCHDOG=1"] * 3


def test_the_unit_leaves_nights_alone_and_is_what_systemd_takes(tmp_path: Path) -> None:
    shop = write_shop(tmp_path)
    done = CliRunner().invoke(unit_file, ["--shop", str(shop)], catch_exceptions=False)
    lines = done.output.splitlines()
    assert "Type=notify" in lines
    assert "KillMode=process" in lines
    assert f"User={getpass.getuser()}" in lines
    (started,) = [line for line in lines if line.startswith("ExecStart=")]
    assert started.endswith(f"proofbath serve --shop {shop}")
    if verify := shutil.which("systemd-analyze"):
        unit = tmp_path / "proofbath.service"
        unit.write_text(done.output)
        said = subprocess.run([verify, "verify", str(unit)], capture_output=True, text=True)
        assert "proofbath.service:" not in said.stderr


def test_a_user_or_a_path_that_cannot_be_is_refused(tmp_path: Path) -> None:
    shop = write_shop(tmp_path)
    with pytest.raises(InputError, match="nobody-here"):
        _unit(shop, "--user", "nobody-here")
    spaced = tmp_path / "ferry works"
    spaced.mkdir()
    with pytest.raises(InputError, match="space"):
        _unit(write_shop(spaced))


def _unit(shop: Path, *options: str) -> None:
    CliRunner().invoke(unit_file, ["--shop", str(shop), *options], catch_exceptions=False)
