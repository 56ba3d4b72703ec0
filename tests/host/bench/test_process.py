"""The bench process: it answers commands, obeys signals, and clears up after a killed one."""

from __future__ import annotations

import itertools
import json
import os
import signal
import threading
from pathlib import Path
from typing import Any

import pytest

from host.bench.nights import BENCH, PLAN, bench_file, plan
from host.bench.samples import sample
from proofbath.bench.after_trip import LABEL
from proofbath.bench.connect import control_path
from proofbath.bench.control_socket import command
from proofbath.bench.process import bench_night, bench_resume, close_killed
from proofbath.errors import BenchFaultError, InputError
from proofbath.store.journal import OPEN, Journal, RunHead

WARM = bench_file(BENCH.replace("seed = 3", "seed = 3\nbath.start_c = 38.0"))


def night(folder: Path, **options: Any) -> Any:
    path = folder / "night.db"
    turns = itertools.count()  # a tenth of a second a turn: every tenth turn commits and tells
    return bench_night(
        options.pop("plan", plan()),
        WARM,
        path,
        clear=True,
        folder=folder,
        wall_s=lambda: next(turns) * 0.1,
        **options,
    )


def test_a_night_is_done_and_its_socket_gone(tmp_path: Path) -> None:
    assert night(tmp_path).status == "done"
    assert not control_path(WARM, tmp_path).exists()


def test_status_and_stop_reach_the_run(tmp_path: Path) -> None:
    told: list[Any] = []

    def watch(now: Any) -> None:
        told.append(now)
        if len(told) == 5:
            status = json.loads(command(control_path(WARM, tmp_path), "status"))
            assert status["bath_c"] == pytest.approx(38.0, abs=0.3)
            assert len(status["lift_mm"]) == 6
            command(control_path(WARM, tmp_path), "stop smoke")

    outcome = night(tmp_path, on_progress=watch)
    assert (outcome.status, outcome.reason) == ("stopped", "smoke")
    assert len([now for now in told if now.phase != LABEL]) < 10


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT, signal.SIGHUP])
def test_a_signal_to_end_stops_the_run_cleanly(tmp_path: Path, number: signal.Signals) -> None:
    before = signal.getsignal(number)
    told: list[Any] = []

    def watch(now: Any) -> None:
        told.append(now)
        if len(told) == 5:
            os.kill(os.getpid(), number)

    outcome = night(tmp_path, on_progress=watch)
    assert (outcome.status, outcome.reason) == ("stopped", f"stopped by {number.name}")
    assert signal.getsignal(number) == before


def test_a_second_process_is_refused_while_one_runs(tmp_path: Path) -> None:
    refused: list[BenchFaultError] = []

    def second() -> None:
        try:
            night(tmp_path)
        except BenchFaultError as error:
            refused.append(error)

    def watch(_: Any) -> None:
        if not refused:
            other = threading.Thread(target=second)
            other.start()
            other.join()

    assert night(tmp_path, on_progress=watch).status == "done"
    assert "in use by process" in str(refused[0])


def test_a_paused_run_goes_on_when_it_is_resumed(tmp_path: Path) -> None:
    told: list[str] = []

    def watch(now: Any) -> None:
        told.append(now.phase)
        if len(told) == 60:
            command(control_path(WARM, tmp_path), "pause")
        if len(told) == 80:
            command(control_path(WARM, tmp_path), "resume")

    assert night(tmp_path, on_progress=watch).status == "done"
    assert set(told[62:79]) == {"paused"}
    texts = " ".join(e.text for e in Journal(tmp_path / "night.db").events(1))
    assert "paused by the operator" in texts


def test_a_plan_that_cannot_be_is_refused_before_the_bench_is_touched(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="above the bath's limit"):
        night(tmp_path, plan=plan(PLAN.replace("to_c = 41", "to_c = 104")))
    assert list(tmp_path.iterdir()) == []


def test_a_killed_run_is_closed_with_its_reason_and_others_are_left(tmp_path: Path) -> None:
    journal = Journal(tmp_path / "night.db")
    head = RunHead("t", "quay", "p", "b", "{}", "{}")
    killed = journal.begin(head)
    killed.append(sample(device_ms=5000))
    killed.commit()
    journal.begin(head)
    other = journal.begin(head._replace(bench="harbour"))
    done = journal.begin(head)
    done.close(1.0, "done", "")
    assert [run.run_id for run in close_killed(journal, "quay")] == [1, 2]
    assert [run.status for run in journal.runs()] == ["killed", "killed", OPEN, "done"]
    assert journal.run(other.run_id).status == OPEN
    assert [journal.verify_chain(n) for n in (1, 2)] == [2, 1]
    assert journal.events(1)[-1].t_s == 5.0
    assert close_killed(journal, "quay") == []


def test_a_new_night_clears_up_after_a_killed_one(tmp_path: Path) -> None:
    journal = Journal(tmp_path / "night.db")
    journal.begin(RunHead("t", "quay", "p", "b", "{}", "{}"))
    night(tmp_path)
    assert [run.status for run in journal.runs()] == ["killed", "done"]


def test_a_stopped_night_is_resumed_as_the_same_run(tmp_path: Path) -> None:
    def stop(_: Any) -> None:
        command(control_path(WARM, tmp_path), "stop tea break")

    assert night(tmp_path, on_progress=stop).status == "stopped"
    outcome = bench_resume(WARM, tmp_path / "night.db", clear=True, folder=tmp_path)
    assert (outcome.run_id, outcome.status) == (1, "done")
    journal = Journal(tmp_path / "night.db")
    texts = [e.text for e in journal.events(1) if e.kind == "closed"]
    assert texts == ["stopped: tea break", "done: "]
    assert journal.verify_chain(1) > 1
