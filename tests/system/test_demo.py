"""The main job as its user runs it: one command, a whole night, six curves beside their truth."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from proofbath.curve.record import parse_csv
from proofbath.store.journal import Journal

pytestmark = pytest.mark.xdist_group("demo")
RUN = [sys.executable, "-c", "from proofbath.cli import main; main()"]


@pytest.fixture(scope="session")
def night(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("demo")
    done = subprocess.run(
        [*RUN, "demo", "--seed", "3", "--out", str(out), "--json"],
        capture_output=True,
        text=True,
        check=True,
    )
    assert json.loads(done.stdout) == json.loads((out / "summary.json").read_text())
    return out


def test_a_night_of_eight_hours_gives_six_values_beside_the_truth(night: Path) -> None:
    """The stated interval holds the truth; one of six may miss it (95 % intervals)."""
    summary = json.loads((night / "summary.json").read_text())
    assert summary["bench_hours"] >= 8.0
    assert [unit["station"] for unit in summary["units"]] == [1, 2, 3, 4, 5, 6]
    inside = 0
    for unit in summary["units"]:
        found = unit["start_to_open_c"]
        assert found["rate"] == "zero"
        error_k = found["value"] - unit["true_start_to_open_c"]
        assert abs(error_k) < 0.6
        inside += abs(error_k) <= found["expanded_uncertainty"]
    assert inside >= 5


def test_each_curve_can_be_read_again(night: Path) -> None:
    files = sorted((night / "curves").glob("*.csv"))
    assert len(files) == 6
    for path in files:
        record = parse_csv(path.read_text(), path.name)
        assert record.bath_c.max() > 95.0
        assert record.lift_mm.max() - record.lift_mm.min() > 5.0


def test_the_pictures_are_there(night: Path) -> None:
    assert (night / "curves.svg").read_text().startswith("<?xml")
    assert (night / "curves.png").read_bytes().startswith(b"\x89PNG")


def test_the_journal_is_closed_and_unbroken(night: Path) -> None:
    journal = Journal(night / "journal.sqlite")
    (run,) = journal.runs()
    assert (run.status, run.reason) == ("done", "")
    assert journal.verify_chain(run.run_id) >= 1
    rows = journal.samples(run.run_id)
    assert (rows["sequence"][1:] - rows["sequence"][:-1] == 1).all()
    journal.close()
