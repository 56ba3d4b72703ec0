"""Constants of the firmware, read from its sources so that no page repeats a stale one."""

from __future__ import annotations

import re
from pathlib import Path

CONTROLLER = Path(__file__).resolve().parents[2] / "firmware/rig_controller"


def source(name: str) -> str:
    """Return the text of a firmware source file."""
    return (CONTROLLER / name).read_text(encoding="utf-8")


def constant(file: str, name: str) -> int:
    """Return the whole number a `constexpr` of a source file stands for."""
    found = re.search(rf"\bconstexpr \w+ {name} = (\d+)", source(file))
    if found is None:
        raise LookupError(f"{file} has no constant {name}")
    return int(found[1])


def constants(file: str, name: str) -> list[int]:
    """Return the whole numbers of a `constexpr` array of a source file."""
    found = re.search(rf"\bconstexpr \w+ {name}\[\w+\] = \{{([^}}]*)\}}", source(file))
    if found is None:
        raise LookupError(f"{file} has no constants {name}")
    return [int(value) for value in found[1].split(",")]
