"""Changes one level of the firmware's guard at a time and prints those that no test notices.

Run with `python tests/benchmarks/firmware_mutants.py`, or with `--only guard.cpp` for one file.  In
a throw-away copy each number of a `constexpr` is set a tenth (at least 1) higher and lower.  Only
what depends on the file is compiled again; the native cases run to the first failure, and only
for a change that none of them notices the tests of the plant's faults and healthy nights too.
A number that the compiler itself refuses to see changed is counted as noticed.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from time import monotonic

sys.path.insert(0, str(Path(__file__).parents[1]))

from host.number_changes import level_changes

ROOT = Path(__file__).parents[2]
CONTROLLER = "firmware/rig_controller"
FILES = (
    "guard.cpp",
    "guard_levels.h",
    "elements.h",
    "elements.cpp",
    "hot_core.cpp",
    "unseen.h",
    "unseen.cpp",
    "rtd.h",
    "rtd.cpp",
    "scan.h",
    "scan.cpp",
    "climb.h",
    "state.cpp",
    "limits.cpp",
    "board.h",
    "self_test.cpp",
)
"""Where levels stand."""
FOLDERS = (CONTROLLER, "firmware/native", "tests/firmware")
FIRST = (
    "guard_edges.cpp",
    "guard_rows.cpp",
    "station_rows.cpp",
    "heat_rows.cpp",
    "quiet_climb.cpp",
    "self_tests.cpp",
)
"""Cases that find most, run first."""
PLANT_TESTS = ("test_bench_faults.py", "test_healthy_nights.py")
COMPILER = ("c++", "-std=gnu++14", "-O1", "-fPIC", "-ffp-contract=off")
MOST_CASE_S = 60


class Copy:
    """A throw-away copy of firmware and native tests, compiled unit by unit."""

    def __init__(self, root: Path) -> None:
        """Copy and compile everything; raises CalledProcessError when it does not compile."""
        self.root = root
        for folder in (*FOLDERS, "tests/data"):
            shutil.copytree(ROOT / folder, root / folder)
        (root / "objects").mkdir()
        (root / "changed").mkdir()
        self.units = [u for f in FOLDERS for u in sorted((root / f).glob("*.cpp"))]
        self._leans_on: dict[Path, set[Path]] = {}
        for unit in self.units:
            self.compile(unit)
        self.link()
        self.cases = [case for unit in sorted(self.units, key=_rank) for case in _cases(unit)]

    def compile(self, unit: Path, folder: str = "objects") -> None:
        """Compile one unit into a folder and note which files of the copy it includes."""
        made = self._object(unit, folder)
        command = [*COMPILER, "-w", "-MMD", "-c", str(unit), "-o", str(made)]
        subprocess.run(command, check=True, capture_output=True)
        rule = made.with_suffix(".d").read_text().replace("\\\n", " ").split(":", 1)[1]
        self._leans_on[unit] = {Path(name).resolve() for name in rule.split()}

    def link(self, changed: Sequence[Path] = ()) -> None:
        """Make the program of the native cases and the virtual bench's library."""
        made = {
            u: str(self._object(u, "changed" if u in changed else "objects")) for u in self.units
        }
        bench = [path for unit, path in made.items() if unit.parents[1].name == "firmware"]
        for objects, flags, name in (
            (list(made.values()), [], "native_tests"),
            (bench, ["-shared"], "libbench.so"),
        ):
            command = [*COMPILER, *flags, *objects, "-o", str(self.root / name)]
            subprocess.run(command, check=True, capture_output=True)

    def rebuild(self, file: Path, name: str) -> bool:
        """Compile what uses a changed constant of a file and link; whether the compiler takes it.

        A unit uses it whose own text, or that of a header it includes, holds the name.
        """
        word = re.compile(rf"\b{name}\b")
        texts = {
            path: path.read_text() for f in FOLDERS for path in (self.root / f).glob("*.[ch]*")
        }
        users = {path for path, text in texts.items() if len(word.findall(text)) > (path == file)}
        changed = [u for u in self.units if file in self._leans_on[u] and users & self._leans_on[u]]
        try:
            for unit in changed:
                self.compile(unit, "changed")
            self.link(changed)
        except subprocess.CalledProcessError:
            return False
        return True

    def noticed_by(self) -> str:
        """Return the first case or test that fails, or nothing."""
        for case in self.cases:
            if not self._runs([str(self.root / "native_tests"), case, "tests/data"], MOST_CASE_S):
                return case
        tests = [f"tests/firmware/{name}" for name in PLANT_TESTS]
        options = ["-x", "-q", "-p", "no:cacheprovider", "--rootdir", "."]
        command = [sys.executable, "-m", "pytest", *options, "--import-mode=importlib", *tests]
        return "" if self._runs(command, 30 * MOST_CASE_S) else "plant"

    def _runs(self, command: list[str], most_s: float) -> bool:
        paths = f"{ROOT / 'host'}:{self.root / 'tests'}:{ROOT / 'tests'}"
        own = {"COMPILED": str(self.root), "PYTHONPATH": paths}
        environment = {**os.environ, "PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1", **own}
        try:
            done = subprocess.run(
                command, cwd=self.root, env=environment, capture_output=True, timeout=most_s
            )
        except subprocess.TimeoutExpired:
            return False
        return done.returncode == 0

    def _object(self, unit: Path, folder: str) -> Path:
        return self.root / folder / f"{unit.parent.name}_{unit.stem}.o"


def _rank(unit: Path) -> tuple[int, str]:
    return (FIRST.index(unit.name) if unit.name in FIRST else len(FIRST), unit.name)


def _cases(unit: Path) -> Iterator[str]:
    return iter(re.findall(r"^TEST\((\w+)\)", unit.read_text(), re.MULTILINE))


def judge(copy: Copy, name: str, until_s: float) -> tuple[int, int, int]:
    """Print what no test notices in a file; return how many were noticed, unnoticed, not tried."""
    path = copy.root / CONTROLLER / name
    source = path.read_text()
    changes = level_changes(source)
    killed = survived = 0
    while changes and monotonic() < until_s:
        change = changes.pop(0)
        path.write_text(change.within(source))
        if not copy.rebuild(path, change.name) or copy.noticed_by():
            killed += 1
        else:
            line = change.line(source)
            was = source[change.start : change.end]
            survived += 1
            print(f"survived: {name}:{line} {change.name}: {was} -> {change.text}", flush=True)
    path.write_text(source)
    return killed, survived, len(changes)


def main() -> None:
    """Print the survivors as they are found, and the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--only", default="", choices=["", *FILES], help="one file")
    parser.add_argument("--minutes", type=float, default=30.0, help="at most; the rest is counted")
    options = parser.parse_args()
    until_s = monotonic() + 60 * options.minutes
    with tempfile.TemporaryDirectory(prefix="mutants-") as folder:
        copy = Copy(Path(folder).resolve())
        if found := copy.noticed_by():
            raise SystemExit(f"the tests fail as they stand ({found}); mend them first")
        rows = {name: judge(copy, name, until_s) for name in FILES if options.only in ("", name)}
    print(f"{'file':16} {'mutants':>7} {'killed':>7} {'survived':>8} {'not tried':>9}")
    for name, row in {**rows, "all": tuple(map(sum, zip(*rows.values(), strict=True)))}.items():
        print(f"{name:16} {sum(row):7} {row[0]:7} {row[1]:8} {row[2]:9}")


if __name__ == "__main__":
    main()
