"""Changes the judging rooms of the host one place at a time and prints what no test notices.

Run with `python tests/benchmarks/mutants.py`, or with `--only proof/verdict.py` for one module; it
needs `pip install '.[mutation]'`.  Two kinds of mutants: "statements" are made by mutmut in the
bodies of functions, "numbers" are the constants of modules and classes, each a tenth (at least 1
for a whole number) higher and lower.  A mutant is killed when a test of its room fails, and
survives otherwise.  All happens in a throw-away copy of the checkout, in which `host` is named
`src`, as mutmut wants it.  A survivor is no fault by itself: a text, or a change that makes no
difference, may survive; a safety level, a limit or a decision boundary may not.
"""

from __future__ import annotations

import argparse
import importlib
import json
import os
import re
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from pathlib import Path
from time import monotonic
from typing import NamedTuple

sys.path.insert(0, str(Path(__file__).parents[1]))

from host.number_changes import number_changes

ROOT = Path(__file__).parents[2]
ROOMS = (
    ("run", "unit_type", "test_unit_type test_figures"),
    ("run", "profile profiles duration", "test_profile test_figures test_power"),
    ("run", "check forecast plan in_turn", "test_check test_one_at_a_time test_figures"),
    ("run", "acts", "test_acts test_any_events"),
    ("run", "one_at_a_time", "test_one_at_a_time"),
    ("run", "power", "test_power*"),
    ("run", "steady branch progress", "test_course_edges"),
    ("run", "blocks heat_watch station_watch input_watch", "test_watch*"),
    ("run", "gauge_watch", "test_gauge_watch"),
    ("run", "", "test_*"),
    ("proof", "decision specification verdict", "test_decision* test_spec* test_verdict"),
    ("proof", "chart chart_power", "test_chart*"),
    ("proof", "compare", "test_compare*"),
    ("proof", "engine_log engine_offset service", "test_service*"),
    ("proof", "gauge_study study", "test_study"),
    ("proof", "statistics tolerance", "test_statistics*"),
    ("proof", "rework_kind rework_act trim_act trim_policy trim_advice", "test_trim*"),
    ("proof", "", "test_*"),
    ("curve", "budget", "test_budget"),
    ("bench", "preflight", "test_preflight"),
    ("bench", "in_force", "test_in_force*"),
    ("bench", "limits", "test_limits"),
    ("bench", "loading", "test_loading*"),
)
"""Room, its modules and the tests that test them; without names, all modules not named above."""
PRELOADED = ("hypothesis", "iapws", "numpy", "pydantic", "pytest", "scipy.stats", "sqlalchemy")
ENVIRONMENT = {"PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1", "PYTHONDONTWRITEBYTECODE": "1"}
"""Plugins that these rooms do not use cost more than most tests."""
MOST_CPU_S = 120
"""A mutant that runs longer than this has noticed itself."""
UNREACHED = 33
"""mutmut's result where no test calls the function."""
STARTER = """
import signal
signal.signal(signal.SIGINT, signal.default_int_handler)  # a job in the background ignores it
from mutmut.__main__ import cli
cli()
"""
SETTINGS = """
[tool.mutmut]
source_paths = ["src/proofbath"]
only_mutate = {modules}
pytest_add_cli_args_test_selection = {tests}
use_git_change_detection = false
timeout_multiplier = 10.0
timeout_constant = 5.0
"""


class Survivor(NamedTuple):
    """A change that no test noticed; `diff` is in lines with - and +."""

    place: str
    diff: str
    reached: bool = True

    def kind(self) -> str:
        """Return "unreached", "text" where only quoted text differs, or "logic"."""
        if not self.reached:
            return "unreached"
        bare = [re.sub(r'"[^"]*"|\'[^\']*\'', '""', line) for line in self.diff.splitlines()]
        gone, come = ([x[1:] for x in bare if x[:1] == sign and x[:3] != sign * 3] for sign in "-+")
        return "text" if gone == come else "logic"


class Row(NamedTuple):
    """What became of one module's mutants of one kind; `left` were not tried in the time given."""

    module: str
    kind: str
    killed: int
    survivors: list[Survivor]
    left: int

    def text(self) -> str:
        """Return the row of the table."""
        missed = len(self.survivors)
        return (
            f"{self.module:28} {self.kind:10} {self.killed + missed + self.left:7} "
            f"{self.killed:7} {missed:8} {self.left:9}"
        )


def copy_checkout(to: Path) -> None:
    """Copy tests and `host` as `src`, with the library and the script that lie in it."""
    skipped = shutil.ignore_patterns("__pycache__", ".*_cache", ".hypothesis")
    shutil.copytree(ROOT / "host", to / "src", ignore=skipped)
    shutil.copytree(ROOT / "tests", to / "tests", ignore=skipped)
    shutil.copy(ROOT / "pyproject.toml", to)


def plan_of(only: str) -> dict[tuple[str, ...], list[str]]:
    """Return the modules under each set of test files: all, those of a room, or one module."""
    package, seen = ROOT / "host/proofbath", set[str]()
    plan: dict[tuple[str, ...], list[str]] = {}
    for room, names, tests in ROOMS:
        stems = names.split() or sorted(path.stem for path in (package / room).glob("*.py"))
        modules = [f"{room}/{stem}.py" for stem in stems if stem != "__init__"]
        chosen = [m for m in modules if m not in seen and (only in ("", room, m))]
        seen.update(modules)
        found = {
            p for test in tests.split() for p in (ROOT / "tests/host" / room).glob(f"{test}.py")
        }
        if chosen:
            quick_first = sorted(found, key=lambda path: ("_edges" not in path.stem, path))
            plan[tuple(str(path.relative_to(ROOT)) for path in quick_first)] = chosen
    return plan


def statements(modules: Sequence[str], tests: Sequence[str], until_s: float) -> Iterator[Row]:
    """Run mutmut over modules of a room; raises SystemExit when the tests fail as they stand."""
    with tempfile.TemporaryDirectory(prefix="mutants-") as folder:
        copy = Path(folder)
        copy_checkout(copy)
        paths = [f"src/proofbath/{module}" for module in modules]
        with (copy / "pyproject.toml").open("a") as settings:
            settings.write(SETTINGS.format(modules=json.dumps(paths), tests=json.dumps(tests)))
        _mutmut(copy, until_s)
        yield from (_mutmut_row(copy, module) for module in modules)


def _mutmut(copy: Path, until_s: float) -> None:
    command = [sys.executable, "-c", STARTER, "run", "--max-children", "1"]
    environment = {k: v for k, v in os.environ.items() if k != "PYTHONPATH"} | ENVIRONMENT
    with (copy / "log").open("wb") as log:
        child = subprocess.Popen(
            command,
            cwd=copy,
            env=environment,
            stdout=log,
            stderr=subprocess.STDOUT,
            start_new_session=True,
        )
        status = 0
        try:
            status = child.wait(max(1.0, until_s - monotonic()))
        except subprocess.TimeoutExpired:
            child.send_signal(signal.SIGINT)  # what was found until then stays
            with suppress(subprocess.TimeoutExpired):
                child.wait(60)
        finally:
            if child.poll() is None:
                os.killpg(child.pid, signal.SIGKILL)
    if status:
        raise SystemExit((copy / "log").read_text(errors="replace")[-3000:])


def _mutmut_row(copy: Path, module: str) -> Row:
    meta = copy / "mutants/src/proofbath" / f"{module}.meta"
    results = json.loads(meta.read_text())["exit_code_by_key"] if meta.is_file() else {}
    survivors = [
        Survivor(name.removeprefix("proofbath."), _mutmut_diff(copy, module, name), code == 0)
        for name, code in results.items()
        if code in (0, UNREACHED)
    ]
    left = sum(code is None for code in results.values())
    return Row(module, "statements", len(results) - left - len(survivors), survivors, left)


def _mutmut_diff(copy: Path, module: str, name: str) -> str:
    before = Path.cwd()
    os.chdir(copy)  # mutmut reads its settings and mutants from where it stands
    try:
        get = importlib.import_module("mutmut.mutation.diff_apply").get_diff_for_mutant
        lines = get(name, path=Path("src/proofbath") / module).splitlines()
    finally:
        os.chdir(before)
    return "\n".join(x for x in lines if x[:1] in "+-" and x[:3] not in ("+++", "---") and x)


def numbers(modules: Sequence[str], tests: Sequence[str], until_s: float) -> Iterator[Row]:
    """Change each number of the modules in turn and run the room's tests to the first failure."""
    preload()
    with tempfile.TemporaryDirectory(prefix="mutants-") as folder:
        copy = Path(folder)
        copy_checkout(copy)
        for module in modules:
            path = copy / "src/proofbath" / module
            source = path.read_text()
            changes, killed, survivors = number_changes(source), 0, []
            if changes and not passes(copy, tests):
                raise SystemExit(f"{module}: its tests fail as they stand; mend them first")
            while changes and monotonic() < until_s:
                change = changes.pop(0)
                mutant, line = change.within(source), change.line(source)
                path.write_text(mutant)
                if passes(copy, tests):
                    before, after = (text.splitlines()[line - 1] for text in (source, mutant))
                    place = f"{module}:{line} {change.name}"
                    survivors.append(Survivor(place, f"-{before}\n+{after}"))
                else:
                    killed += 1
            path.write_text(source)
            yield Row(module, "numbers", killed, survivors, len(changes))


def preload() -> None:
    """Load the large libraries once, but nothing that is changed or tests it."""
    own = {ROOT / "tests", Path(__file__).parent}  # the latter holds names of libraries
    sys.path[:] = [path for path in sys.path if Path(path).resolve() not in own]
    for name in [name for name in sys.modules if name.split(".")[0] == "host"]:
        del sys.modules[name]
    for name in PRELOADED:
        importlib.import_module(name)


def passes(copy: Path, tests: Sequence[str]) -> bool:
    """Whether tests pass in a copy, in a child that finds the large libraries loaded."""
    child = os.fork()
    if not child:
        status = 1
        try:
            resource.setrlimit(resource.RLIMIT_CPU, (MOST_CPU_S, MOST_CPU_S))
            silent = os.open(os.devnull, os.O_WRONLY)
            os.dup2(silent, 1)
            os.dup2(silent, 2)
            os.chdir(copy)
            sys.path[:0] = [str(copy / "src")]
            os.environ |= ENVIRONMENT
            sys.dont_write_bytecode = True
            main = importlib.import_module("pytest").main
            status = int(main(["-x", "-q", "-p", "no:cacheprovider", *tests]))
        finally:
            os._exit(status)
    return os.waitpid(child, 0)[1] == 0


KINDS: dict[str, Callable[..., Iterator[Row]]] = {"statements": statements, "numbers": numbers}


def show(survivors: Sequence[Survivor], with_diffs: bool) -> None:
    """Print how many survivors there are of each kind and, when asked, each of them."""
    for kind in ("logic", "text", "unreached"):
        print(f"survivors, {kind}: {sum(s.kind() == kind for s in survivors)}")
    for survivor in survivors if with_diffs else ():
        print(f"\n{survivor.place} ({survivor.kind()})\n{survivor.diff}")


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--only", default="", metavar="PLACE", help="proof/verdict.py, or proof")
    parser.add_argument("--kind", default="", choices=["", *KINDS], help="one kind of mutants")
    parser.add_argument("--show", action="store_true", help="print each survivor's change")
    parser.add_argument("--minutes", type=float, default=60.0, help="at most; the rest is counted")
    options = parser.parse_args()
    until_s = monotonic() + 60 * options.minutes
    plan = plan_of(options.only)
    if not plan:
        parser.error(f"{options.only} is none of the rooms' modules")
    print(
        f"{'module':28} {'kind':10} {'mutants':>7} {'killed':>7} {'survived':>8} {'not tried':>9}"
    )
    survivors: list[Survivor] = []
    for kind in KINDS if not options.kind else (options.kind,):
        for tests, modules in plan.items():
            for row in KINDS[kind](modules, tests, until_s):
                survivors += row.survivors
                print(row.text(), flush=True)
    show(survivors, options.show)


if __name__ == "__main__":
    main()
