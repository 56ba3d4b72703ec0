"""A host clock that jumps moves nothing: durations come from a clock that nobody can set."""

from __future__ import annotations

import ast
import time
from collections.abc import Iterator
from pathlib import Path

import proofbath
from proofbath.bench.clock import monotonic_s, utc_text

SOURCES = Path(proofbath.__path__[0])
ASKED = {
    "time": {"time", "time_ns", "monotonic", "monotonic_ns", "perf_counter", "sleep", "localtime"},
    "datetime": {"now", "utcnow", "today"},
    "date": {"today"},
}
"""What asks a computer for its time, by the name it is called on (the standard library's own)."""


def askings(source: str) -> Iterator[str]:
    """Return each call in a source that asks for the time, however its module was named."""
    tree = ast.parse(source)
    names = {
        alias.asname or alias.name: alias.name
        for node in ast.walk(tree)
        if isinstance(node, (ast.Import, ast.ImportFrom))
        for alias in node.names
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute):
            on = node.value
            name = on.attr if isinstance(on, ast.Attribute) else getattr(on, "id", "")
            if node.attr in ASKED.get(names.get(name, name), ()):
                yield f"{name}.{node.attr}"


def test_one_file_alone_asks_what_time_it_is() -> None:
    found = {
        str(path.relative_to(SOURCES)): list(askings(path.read_text()))
        for path in SOURCES.rglob("*.py")
    }
    assert [path for path, asked in found.items() if asked] == ["bench/clock.py"]
    assert list(askings("import time as t\nt.time()")) == ["t.time"]
    assert list(askings("import datetime as dt\ndt.date.today()")) == ["date.today"]


def test_durations_are_measured_by_a_clock_that_cannot_be_set() -> None:
    """POSIX clock_settime refuses CLOCK_MONOTONIC; Python says so of the clock in use."""
    assert monotonic_s is time.monotonic
    clock = time.get_clock_info("monotonic")
    assert clock.monotonic
    assert not clock.adjustable


def test_moments_are_written_in_utc_which_summer_time_does_not_move() -> None:
    assert utc_text().endswith("+00:00")
