"""Compiles the controller's native tests with the sanitizers and runs each case by its name."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest

HERE = Path(__file__).parent
CASES = sorted(
    (source.stem, name)
    for source in HERE.glob("*.cpp")
    for name in re.findall(r"^TEST\((\w+)\)", source.read_text(), re.MULTILINE)
)


def test_case_names_are_unique() -> None:
    names = [name for _, name in CASES]
    assert len(names) == len(set(names)) > 0


@pytest.mark.parametrize(("source", "name"), CASES)
def test_controller(native_tests: Path, source: str, name: str) -> None:
    command = [str(native_tests), name, str(HERE.parent / "data")]
    done = subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
