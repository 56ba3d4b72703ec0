"""From a bench file to an open link, with the bench locked for this process."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager
from datetime import UTC, datetime
from pathlib import Path

from proofbath.bench.control_socket import BUSY, NobodyThereError, command
from proofbath.bench.description import VIRTUAL_PORT, BenchFile
from proofbath.bench.link import Link
from proofbath.bench.lock import BenchLock, file_name, lock_holder, runtime_folder
from proofbath.bench.port import Port
from proofbath.bench.serial_port import SerialPort
from proofbath.bench.simulator_port import PREFIX, open_simulator
from proofbath.bench.start import greet
from proofbath.bench.virtual_port import VirtualPort
from proofbath.virtual.bench import VirtualBench

LEAVING_LOOKS = 50
"""A process that leaves a bench writes its journal first: 5 s at most."""


def bench_key(bench: BenchFile) -> str:
    """Return what tells a bench from others on this computer.

    A real one is where its controller is, a simulated one is its file: two workshops may have
    virtual benches of one name.  One that was never in a file is known by its name.
    """
    port = bench.bench.port
    if simulated(bench):
        return f"{port.partition(':')[0]} {bench.file or bench.bench.name}"
    return port if "://" in port else os.path.realpath(port)


def simulated(bench: BenchFile) -> bool:
    """Whether a bench lives in this computer and can hurt nobody."""
    return bench.bench.port == VIRTUAL_PORT or bench.bench.port.startswith(PREFIX)


def control_path(bench: BenchFile, folder: Path | None = None) -> Path:
    """Return where the process that runs a bench listens for commands."""
    return (folder or runtime_folder()) / f"{file_name(bench_key(bench))}.sock"


def bench_holder(bench: BenchFile, folder: Path | None = None) -> int | None:
    """Return the number of the process of this computer that holds a bench, None for nobody."""
    return lock_holder(bench_key(bench), folder or runtime_folder())


def bench_last_taken(bench: BenchFile, folder: Path | None = None) -> datetime | None:
    """Return when a process of this computer last took a bench, None where none is known to."""
    path = (folder or runtime_folder()) / f"{file_name(bench_key(bench))}.lock"
    try:
        return datetime.fromtimestamp(path.stat().st_mtime, UTC)
    except OSError:
        return None


@contextmanager
def connected(bench: BenchFile, folder: Path | None = None) -> Iterator[Link]:
    """Open and lock a bench and close it in the end; its demands run out by their lease.

    A real one is locked by its port and by its controller's serial number, so that two ways to
    one controller do not meet.  A process that only watches a bench behind its run makes way,
    unless something still heats.  Raises InputError, BenchFaultError or MismatchError.
    """
    folder = folder or runtime_folder()
    looks = LEAVING_LOOKS if _relieved(control_path(bench, folder)) else 1
    with ExitStack() as held:
        held.enter_context(closing(BenchLock(bench_key(bench), folder, looks)))
        link = Link(held.enter_context(closing(_open_port(bench))))
        if simulated(bench):
            yield link
            return
        serial_number = greet(link).serial_number
        if serial_number:  # 0 has never been given one
            held.enter_context(closing(BenchLock(f"controller {serial_number}", folder)))
        yield link


def _relieved(path: Path) -> bool:
    """Ask a process that watches a bench behind its run to leave; return whether it will."""
    try:
        return command(path, "relieve") != BUSY
    except NobodyThereError:
        return False


def _open_port(bench: BenchFile) -> Port:
    port = bench.bench.port
    if port.startswith(PREFIX):
        return open_simulator(port, bench.virtual)
    if port == VIRTUAL_PORT:
        assert bench.virtual is not None, "the bench file's own check"
        return VirtualPort(VirtualBench(bench.virtual))
    return SerialPort(port)
