"""A night started from the pages: its own process, its words kept, refused before heat in words."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

from host.bench.nights import plan
from host.web.live_shop import with_quay
from proofbath.errors import InputError
from proofbath.files import read_toml
from proofbath.run.plan import NightPlan
from proofbath.web.launch import Launched, Launcher, NightOrder
from proofbath.web.live_hub import started
from proofbath.web.virtual_serve import set_speed
from proofbath.workshop.planning import plan_text
from proofbath.workshop.shop import Shop

AT = "2026-03-02T18:00:00+00:00"
ORDER = NightOrder(plan(), "quay", "operator", clear_trip=True, loaded="Ana")
PROGRAM = """
import json, os, pathlib, sys
print(sys.argv[1:], os.getsid(0))
print("a caution", file=sys.stderr)
said = {"verdict": "refused", "faults": ["no heat"]}
pathlib.Path(sys.argv[sys.argv.index("--verdict") + 1]).write_text(json.dumps(said))
sys.exit(2)
"""
SAYS = (sys.executable, "-c", PROGRAM)
HOLDS = """
import pathlib, signal, sys
from proofbath.bench.connect import bench_key
from proofbath.bench.description import BenchFile
from proofbath.bench.lock import BenchLock, runtime_folder
from proofbath.files import read_toml
bench = read_toml(pathlib.Path(sys.argv[sys.argv.index("--bench") + 1]), BenchFile)
lock = BenchLock(bench_key(bench), runtime_folder())
verdict = pathlib.Path(sys.argv[sys.argv.index("--verdict") + 1])
verdict.write_text('{"verdict": "begun"}')
signal.pause()
"""


@pytest.fixture
def shop(shop: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Shop:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    return with_quay(shop)


def ended(launcher: Launcher, bench: str = "quay") -> None:
    """Wait for the end of the last start."""
    launcher._starts[bench].process.wait(60)  # type: ignore[union-attr]


def test_a_plan_is_written_as_it_was_and_read_again(tmp_path: Path) -> None:
    path = tmp_path / "plan.toml"
    path.write_text(plan_text(plan()))
    assert read_toml(path, NightPlan) == plan()


def test_a_refused_start_is_told_in_its_own_words(shop: Shop) -> None:
    launcher = Launcher(shop, SAYS)
    folder = launcher.start(ORDER, AT)
    ended(launcher)
    last = launcher.last("quay")
    assert last is not None
    assert last.state == "failed"
    assert last.lines == ("no heat",)
    said = (folder / "night-output.txt").read_text()
    for part in (
        "--clear-trip",
        "--loaded-as-planned=Ana",
        "'--by', 'operator'",
        "bench.toml",
    ):
        assert part in said
    assert "--attended" not in said
    session = int(said.split()[-1])
    assert session != os.getsid(0)  # a signal to the pages does not reach it
    launcher.forget("quay")
    assert launcher.last("quay") is None


def test_what_came_of_a_start_is_waited_for_and_known_again_later(shop: Shop) -> None:
    launcher = Launcher(shop, SAYS)
    launcher.start(ORDER, AT)
    came = launcher.verdict("quay")
    assert came is not None
    assert (came.state, came.lines, came.trip) == ("failed", ("no heat",), None)
    ended(launcher)
    again = Launcher(shop, SAYS)
    last = again.last("quay")
    assert last is not None
    assert (last.state, last.lines, last.at) == ("failed", ("no heat",), AT)
    assert last.loaded == "Ana"
    again.forget("quay")
    assert Launcher(shop, SAYS).last("quay") is None


def test_a_process_that_ends_without_a_word_is_told_so(shop: Shop) -> None:
    launcher = Launcher(shop, (sys.executable, "-c", "raise SystemExit(3)"))
    launcher.start(ORDER, AT)
    came = launcher.verdict("quay")
    assert came is not None
    assert came.state == "failed"
    assert "ended without saying why" in came.lines[0]


def test_a_start_goes_on_while_its_process_holds_the_bench(shop: Shop) -> None:
    """Pages that were started again know the start by its folder and the bench by its lock."""
    launcher = Launcher(shop, (sys.executable, "-c", HOLDS))
    folder = launcher.start(ORDER, AT)
    process = launcher._starts["quay"].process  # type: ignore[union-attr]
    assert process is not None
    assert launcher.verdict("quay") is not None  # begun: it holds the bench
    again = Launcher(shop, SAYS)
    last = again.last("quay")
    assert last is not None
    assert (last.state, last.begun, last.folder) == ("going", True, folder)
    with pytest.raises(InputError, match="a night is under way"):
        again.start(ORDER, AT)
    process.kill()
    process.wait(60)
    last = again.last("quay")
    assert last is not None
    assert last.state == "done"


def test_a_bench_is_started_once_at_a_time(shop: Shop) -> None:
    launcher = Launcher(shop, (sys.executable, "-c", "import signal; signal.pause()"))
    launcher.start(ORDER, AT)
    with pytest.raises(InputError, match="a night is under way"):
        launcher.start(ORDER, AT)
    last = launcher.last("quay")
    assert last is not None
    assert last.state == "going"
    launcher._starts["quay"].process.kill()  # type: ignore[union-attr]
    ended(launcher)


def test_a_start_is_refused_only_until_its_run_begins() -> None:
    idle = {"run": None, "standing": "idle", "words": ""}
    failed = Launched("failed", AT, Path(), ("bath level: low, wanted at its line or above",))
    assert started(idle, failed)["standing"] == "refused"
    assert started(idle, failed)["lines"] == failed.lines
    assert started(idle, failed._replace(state="going"))["standing"] == "starting"
    after = {"run": {"started": AT}, "standing": "ended", "words": "stopped"}
    assert started(after, failed)["standing"] == "ended"
    before = {"run": {"started": "2026-03-01T18:00:00+00:00"}, "standing": "ended", "words": ""}
    assert started(before, failed)["standing"] == "refused"


def test_a_virtual_benchs_file_says_its_speed_and_keeps_its_words(shop: Shop) -> None:
    path = shop.folder / "bench.toml"
    path.write_text("# ours\n" + path.read_text())
    set_speed(path, 20.0)
    set_speed(path, 50.0)
    virtual = shop.bench("quay").virtual
    assert virtual is not None
    assert virtual.speed == 50.0
    assert path.read_text().startswith("# ours\n")


def test_a_real_bench_is_not_served_as_a_virtual_one(shop: Shop) -> None:
    path = shop.folder / "bench.toml"
    path.write_text(path.read_text().replace('name = "quay"', 'name = "quay"\nport = "/dev/tty9"'))
    before = path.read_text()
    with pytest.raises(InputError, match="is no virtual bench"):
        set_speed(path, 20.0)
    assert path.read_text() == before
