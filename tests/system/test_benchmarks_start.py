"""Every benchmark starts: its imports are there and its options can be read."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

BENCHMARKS = sorted((Path(__file__).parents[1] / "benchmarks").glob("*.py"))
ALL_IN_ONE = """
import contextlib, io, os, runpy, sys
sys.path.insert(0, os.path.dirname(sys.argv[1]))  # as Python does for a program it is given
for path in sys.argv[1:]:
    sys.argv[:] = [path, "--help"]
    said = io.StringIO()
    with contextlib.redirect_stdout(said):
        try:
            runpy.run_path(path, run_name="__main__")
        except SystemExit as left:
            status = left.code
        except Exception as error:
            status = repr(error)
        else:
            status = "ran on"
    if status != 0 or not said.getvalue().startswith("usage:"):
        print(path, status)
"""
"""One process for all, which share most imports: what does not start is printed."""


def test_each_benchmark_says_how_it_is_used() -> None:
    assert BENCHMARKS
    command = [sys.executable, "-c", ALL_IN_ONE, *map(str, BENCHMARKS)]
    done = subprocess.run(command, capture_output=True, text=True)
    assert (done.stdout, done.returncode) == ("", 0), done.stderr
