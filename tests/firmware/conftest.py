"""What the firmware tests share: programs compiled once, however many workers run."""

from __future__ import annotations

import ctypes
import fcntl
import os
import subprocess
from collections.abc import Sequence
from pathlib import Path

import pytest

from proofbath.virtual.native import library

ROOT = Path(__file__).parents[2]
CONTROLLER = sorted(ROOT.glob("firmware/rig_controller/*.cpp"))
NATIVE = sorted(ROOT.glob("firmware/native/*.cpp"))
WARNINGS = ["-Wall", "-Wextra", "-Werror"]


def compile_once(
    factory: pytest.TempPathFactory, name: str, sources: Sequence[Path], flags: Sequence[str]
) -> Path:
    """Compile sources to a program in the folder all workers of this run share.

    Where `COMPILED` names a folder, the programs lie there already.
    """
    if "COMPILED" in os.environ:
        return Path(os.environ["COMPILED"]) / name
    folder = factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        folder = folder.parent
    program = folder / name
    with (folder / f"{name}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not program.exists():
            part = program.with_suffix(".part")
            options = ["-std=gnu++14", *flags, *WARNINGS]
            subprocess.run(["c++", *options, *map(str, sources), "-o", str(part)], check=True)
            part.rename(program)
    return program


@pytest.fixture(scope="session")
def native_tests(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The C++ tests with controller, board and plant."""
    sources = [*CONTROLLER, *NATIVE, *sorted(Path(__file__).parent.glob("*.cpp"))]
    flags = ["-O1", "-g", "-fsanitize=address,undefined", "-fno-sanitize-recover=undefined"]
    return compile_once(tmp_path_factory, "native_tests", sources, flags)


@pytest.fixture(scope="session")
def native_library(tmp_path_factory: pytest.TempPathFactory) -> ctypes.CDLL:
    """The virtual bench of the sources as they stand, typed for calls."""
    flags = ["-O2", "-ffp-contract=off", "-fPIC", "-shared"]
    path = compile_once(tmp_path_factory, "libbench.so", [*CONTROLLER, *NATIVE], flags)
    return library(path)
