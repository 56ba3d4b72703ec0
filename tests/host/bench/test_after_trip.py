"""The host stays with a bench that tripped, on the real controller and the plant."""

from __future__ import annotations

import itertools
import json
import os
import signal
import sys
import threading
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from host.bench.nights import BENCH, bench_file, plan
from host.bench.test_resume import CYCLE, WARM
from proofbath.bench.after_trip import LABEL, WATCHED
from proofbath.bench.connect import connected, control_path
from proofbath.bench.control_socket import command
from proofbath.bench.curves import unit_records
from proofbath.bench.description import BenchFile
from proofbath.bench.loop import Outcome
from proofbath.bench.notes import notes_in
from proofbath.bench.process import bench_night, bench_resume
from proofbath.bench.record import run_record
from proofbath.bench.run import read_run
from proofbath.cli.night_outcome import exit_status
from proofbath.errors import BenchFaultError
from proofbath.run.profiles import OPEN_C
from proofbath.store.journal import Journal

STARTS_C = "\nbath.start_c = "
HOT = BENCH.replace("seed = 3", "seed = 3\nbath.start_c = 46.0")
HOT_PLAN = plan(CYCLE.replace("to_c = 39", "to_c = 47").replace("to_c = 43", "to_c = 50"))


def fault(kind: str, at_s: float = 60.0) -> str:
    return f'\n[[virtual.fault]]\nkind = "{kind}"\nat_s = {at_s}\n'


def night(folder: Path, bench: BenchFile, **options: Any) -> Outcome:
    turns = itertools.count()
    return bench_night(
        options.pop("plan", plan()),
        bench,
        folder / "night.db",
        clear=True,
        folder=folder,
        wall_s=lambda: next(turns) * 0.1,
        **options,
    )


def events(folder: Path, kind: str) -> list[str]:
    return [e.text for e in Journal(folder / "night.db").events(1) if e.kind == kind]


def test_a_tripped_bench_is_watched_until_it_is_cool_and_the_run_stays_as_it_ended(
    tmp_path: Path,
) -> None:
    small = HOT.replace("[virtual]\nseed = 3", "[virtual]\nseed = 3\nbath.loss_w_per_k = 20.0")
    alarms: list[str] = []
    bench = bench_file(small + fault("emergency_stop"))
    outcome = night(tmp_path, bench, plan=HOT_PLAN, on_alarm=alarms.append)
    assert (outcome.status, outcome.heated, alarms) == ("tripped", (), [])
    assert exit_status(outcome) == 3
    journal = Journal(tmp_path / "night.db")
    assert (journal.run(1).status, journal.run(1).reason) == (outcome.status, outcome.reason)
    assert journal.verify_chain(1) > 0
    (watched,) = events(tmp_path, WATCHED)
    assert watched.startswith("the bath is below 45 °C and nothing heats it")
    record = run_record(journal.samples(1), bench.calibration)
    assert record.bath_c[-1] < OPEN_C
    assert np.diff(record.t_s) == pytest.approx(0.1, abs=0.01)
    # The morning shows how it cooled; the run's own end is where it tripped.
    (end,) = (n for n in notes_in(journal.events(1)) if n.code == "run_end")
    assert record.t_s[-1] - end.t_s > 180.0


def test_what_cooled_behind_the_end_is_no_part_of_any_curve(tmp_path: Path) -> None:
    bench = bench_file(WARM + fault("emergency_stop", at_s=150.0))
    assert night(tmp_path, bench, plan=plan(CYCLE)).status == "tripped"
    journal = Journal(tmp_path / "night.db")
    (end,) = (n for n in notes_in(journal.events(1)) if n.code == "run_end")
    rows = run_record(journal.samples(1), bench.calibration)
    assert rows.t_s[-1] - end.t_s > 170.0
    for record in unit_records(read_run(journal, 1)).values():
        assert record.t_s[-1] + rows.t_s[0] <= end.t_s


def test_heat_that_goes_on_is_said_in_journal_notice_and_exit_status(tmp_path: Path) -> None:
    """The relay welds, the contactor was welded before: nothing the controller does helps."""
    append = "import sys; open(sys.argv[1], 'a').write(sys.stdin.read() + chr(10))"
    run = json.dumps([sys.executable, "-c", append, str(tmp_path / "told")])
    both = fault("contactor_welded", 10.0) + fault("heater_welded", 60.0)
    bench = bench_file(HOT + both + f"\n[notify.command]\nrun = {run}\n")
    alarms: list[str] = []
    outcome = night(tmp_path, bench, plan=HOT_PLAN, on_alarm=alarms.append)
    assert (outcome.status, outcome.reason) == (
        "tripped",
        "controller tripped: heater_welded",
    )
    assert exit_status(outcome) == 4
    assert outcome.heated == tuple(alarms)
    assert any(a.startswith("THE HEAT IS STILL ON: pull Q1. the heater takes") for a in alarms)
    assert any(a.startswith("THE HEAT IS STILL ON: pull Q1. the bath climbed") for a in alarms)
    assert any(a.startswith("THE CONTACTOR IS NOT SEEN TO OPEN: pull Q1") for a in alarms)
    journal = Journal(tmp_path / "night.db")
    noted = [n.text for n in notes_in(journal.events(1)) if n.code == "alarm"]
    assert noted[-len(alarms) :] == alarms
    kinds = [json.loads(line) for line in (tmp_path / "told").read_text().splitlines()]
    assert [k["kind"] for k in kinds] == ["trip"] + ["alarm"] * len(alarms)
    assert "pull Q1" in kinds[1]["text"]
    assert (journal.run(1).status, journal.verify_chain(1) > 0) == ("tripped", True)


def test_a_person_leaves_and_a_stop_on_a_page_does_not(tmp_path: Path) -> None:
    said: list[str] = []

    def watch(now: Any) -> None:
        said.append(now.phase)
        behind = said.count(LABEL)
        if behind == 5:
            command(control_path(bench, tmp_path), "stop in fear")
        if behind == 20:
            command(control_path(bench, tmp_path), "leave")

    bench = bench_file(HOT + fault("emergency_stop"))
    assert night(tmp_path, bench, plan=HOT_PLAN, on_progress=watch).status == "tripped"
    assert 20 <= said.count(LABEL) <= 22
    (watched,) = events(tmp_path, WATCHED)
    assert watched.startswith("a person took over; watched for 0 min, bath at 4")


def test_a_second_signal_leaves(tmp_path: Path) -> None:
    said: list[str] = []

    def watch(now: Any) -> None:
        said.append(now.phase)
        if len(said) == 60 or said.count(LABEL) == 5:
            os.kill(os.getpid(), signal.SIGINT)

    outcome = night(tmp_path, bench_file(HOT), plan=HOT_PLAN, on_progress=watch)
    assert (outcome.status, outcome.reason) == ("stopped", "stopped by SIGINT")
    assert said.count(LABEL) <= 7


def test_a_run_under_way_is_not_left(tmp_path: Path) -> None:
    refused: list[str] = []

    def watch(now: Any) -> None:
        if not refused:
            with pytest.raises(BenchFaultError) as caught:
                command(control_path(bench, tmp_path), "leave")
            refused.append(str(caught.value))

    bench = bench_file(BENCH.replace("seed = 3", "seed = 3\nbath.start_c = 38.0"))
    assert night(tmp_path, bench, on_progress=watch).status == "done"
    assert refused == ["bench: refused: a run is under way; stop it first"]
    assert events(tmp_path, WATCHED) == []


def takes_over_behind(folder: Path, bench: BenchFile) -> tuple[Outcome, list[str]]:
    """A night that trips, and another program that wants its bench during the watch."""
    said: list[str] = []
    others: list[threading.Thread] = []

    def other() -> None:
        try:
            with connected(bench, folder):
                said.append("has it")
        except BenchFaultError as error:
            said.append(str(error))

    def watch(now: Any) -> None:
        if now.phase == LABEL and not others and now.reading.t_s > 100.0:
            others.append(threading.Thread(target=other))
            others[0].start()
            if "heater_welded" in str(bench.virtual):
                others[0].join()

    outcome = night(folder, bench, plan=HOT_PLAN, on_progress=watch)
    others[0].join()
    return outcome, said


def test_a_program_that_wants_the_bench_gets_it_from_a_watch(tmp_path: Path) -> None:
    _, said = takes_over_behind(tmp_path, bench_file(HOT + fault("emergency_stop")))
    assert said == ["has it"]


def test_nobody_gets_a_bench_whose_heat_is_still_on(tmp_path: Path) -> None:
    both = fault("contactor_welded", 10.0) + fault("heater_welded", 60.0)
    outcome, said = takes_over_behind(tmp_path, bench_file(HOT + both))
    assert exit_status(outcome) == 4
    assert said == [
        "bench: refused: THE HEAT IS STILL ON: pull Q1; then end the watch with proofbath bench"
        " leave"
    ]


def test_a_run_that_was_watched_is_gone_on_with_from_its_own_end(tmp_path: Path) -> None:
    bench = bench_file(WARM + fault("emergency_stop", at_s=150.0))
    assert night(tmp_path, bench, plan=plan(CYCLE)).status == "tripped"
    calm = bench_file(WARM)
    outcome = bench_resume(calm, tmp_path / "night.db", clear=True, folder=tmp_path)
    assert (outcome.run_id, outcome.status) == (1, "done")
    journal = Journal(tmp_path / "night.db")
    assert journal.verify_chain(1) > 0
    record = run_record(journal.samples(1), calm.calibration)
    assert np.min(np.diff(record.t_s)) > 0
