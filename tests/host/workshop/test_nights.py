"""Nights on record: loaded before heat, kept whole after, later too; real short nights end to end.

What the units do has a closed form, see ferry_shop.py.
"""

from __future__ import annotations

import itertools
import json
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from host.bench.nights import bench_file
from host.store.conftest import EVERYWHERE, fresh_server_place, place, server  # noqa: F401
from host.workshop.ferry_shop import (
    BATCH,
    OPERATOR,
    QUAY,
    REFERENCE,
    FerryShop,
    ferry_shop,
)
from host.workshop.test_planning import BUBBLES
from proofbath.bench.connect import control_path
from proofbath.bench.control_socket import command
from proofbath.errors import InputError, RecordError
from proofbath.proof.verdict import RetestCause
from proofbath.run.profile import Hold, Soak
from proofbath.store.journal import Journal
from proofbath.store.kinds import BenchStudy, Loading, Result, StationRun, Unit
from proofbath.store.records import Stamp
from proofbath.store.tables import Place
from proofbath.workshop.judging import decide, judge_batch
from proofbath.workshop.keeping import LOADINGS, keep_missing
from proofbath.workshop.nights import (
    BLOCKING,
    NightDone,
    begin_loading,
    keep_night,
    shop_night,
    shop_resume,
)
from proofbath.workshop.planning import plan_night
from proofbath.workshop.story import story_in

WARM = "bath.start_c = 38.0\n"
STEPS = (Soak(to_c=41.0, at_least_s=80.0), Hold(for_s=5.0))


@pytest.fixture
def ferry(tmp_path: Path) -> Iterator[FerryShop]:
    with ferry_shop(tmp_path) as made:
        made.batch(["A1", "A2"])
        yield made


def count(ferry: FerryShop) -> tuple[int, int]:
    records = ferry.shop.records
    return len(records.current(StationRun)), len(records.current(Result))


def test_a_night_is_kept_with_all_its_stations_and_what_they_say(ferry: FerryShop) -> None:
    ferry.calibrate()
    run_id = ferry.night("as-found", {"A1": 83.0, "A2": None})
    assert count(ferry) == (3, 3)
    with closing(Journal(ferry.shop.records.place)) as journal:
        digest = journal.digests(run_id)[-1]
    runs = ferry.shop.records.current(StationRun, run_id=run_id)
    assert [(r.entry.station, r.entry.status) for r in runs] == [(n, "done") for n in (1, 2, 6)]
    assert {r.entry.run_digest for r in runs} == {digest}
    first, second, guard = (k.entry for k in ferry.shop.records.current(Result))
    assert first.content["start_to_open_c"]["value"] == pytest.approx(83.2, abs=0.1)
    assert second.content["start_to_open_c"]["value"] is None
    assert guard.content["name"] == REFERENCE
    assert first.content["probe_minus_guard_k"] == pytest.approx([0.02], abs=0.01)
    assert (first.content["profile"], first.content["unit_type"]) == ("plain-as-found", "Teal-82")
    assert first.program.startswith("proofbath ")
    assert len(first.calibration_ids) == 13, "the probes, six gauges, six blanks"


def test_keeping_again_changes_nothing(ferry: FerryShop) -> None:
    run_id = ferry.night("as-found", {"A1": 83.0})
    head = ferry.shop.records.head()
    kept = keep_night(ferry.shop, run_id, ferry.stamp)
    assert len(kept) == 2
    assert keep_missing(ferry.shop, ferry.stamp) == []
    assert ferry.shop.records.head() == head


def test_what_a_killed_process_left_is_kept_later(ferry: FerryShop) -> None:
    """Killed between the run's end and keeping it: the loadings are on record, nothing else."""
    run_id = ferry.night("as-found", {"A1": 83.0}, keep=False)
    assert count(ferry) == (0, 0)
    assert judge_batch(ferry.shop, BATCH, ferry.day)[0].result is None
    assert keep_missing(ferry.shop, ferry.stamp) == [run_id]
    assert count(ferry) == (2, 2)
    assert story_in(ferry.shop.records, BATCH, "A1").present is not None
    assert (ferry.shop.nights / f"run-{run_id}" / "curves" / "A1.csv").exists()
    night = json.loads((ferry.shop.nights / f"run-{run_id}" / "night.json").read_text())
    assert [unit["serial"] for unit in night["units"]] == ["A1", REFERENCE]
    assert night["units"][0]["start_to_open_c"]["value"] is not None


def test_deciding_keeps_what_is_missing(ferry: FerryShop) -> None:
    ferry.night("as-found", {"A1": 83.0}, keep=False)
    found = decide(ferry.shop, BATCH, ferry.stamp)
    assert found[0].decision is not None


def test_an_early_end_is_kept_with_its_status(ferry: FerryShop) -> None:
    run_id = ferry.night("as-found", {"A1": None}, status="tripped")
    statuses = {k.entry.status for k in ferry.shop.records.current(StationRun, run_id=run_id)}
    assert statuses == {"tripped"}


def test_a_run_that_is_open_or_not_of_the_workshop_is_not_kept(ferry: FerryShop) -> None:
    run_id = ferry.night("as-found", {"A1": 83.0}, keep=False)
    with closing(Journal(ferry.shop.records.place)) as journal:
        head = journal.run(run_id).head
        journal.reopen(run_id)
        journal.begin(head).close(0.0, "done", "")
    with pytest.raises(InputError, match=f"run {run_id}: is under way; wait for its end"):
        keep_night(ferry.shop, run_id, ferry.stamp)
    with pytest.raises(InputError, match=f"run {run_id + 1}: names no loadings"):
        keep_night(ferry.shop, run_id + 1, ferry.stamp)
    with pytest.raises(RecordError, match="has no run 9"):
        keep_night(ferry.shop, 9, ferry.stamp)
    assert keep_missing(ferry.shop, ferry.stamp) == []


def test_loading_is_refused_whole(ferry: FerryShop) -> None:
    plan = plan_night(ferry.shop, BATCH, "as-found", QUAY, serials=["A1"])
    left = plan.model_copy(update={"stage": "as-left"})
    with pytest.raises(InputError, match="A1: is to be measured as left, but was not measured as"):
        begin_loading(ferry.shop, left, bench_file(), ferry.stamp)
    with pytest.raises(InputError, match="say who; it needs the right operator or certifier"):
        begin_loading(ferry.shop, plan, bench_file(), Stamp(ferry.at))
    assert ferry.shop.records.current(Loading) == []


def test_a_retests_cause_stands_with_its_loading(ferry: FerryShop) -> None:
    ferry.night("as-found", {"A1": 83.0})
    ferry.night("as-found", {"A1": 82.0}, retests={"A1": BUBBLES})
    kept = [k.entry for k in ferry.shop.records.current(Loading) if k.entry.place == "unit"]
    assert [(k.retest_cause, k.cause_record) for k in kept] == [
        (None, ""),
        (RetestCause.BUBBLES, BUBBLES.record),
    ]


def repeatability(content: dict[str, Any]) -> float:
    budget = content["start_to_open_c"]["budget"]
    return float(
        next(b["standard_uncertainty"] for b in budget if b["name"] == "cycle repeatability")
    )


def test_a_study_of_the_bench_feeds_its_budget(ferry: FerryShop) -> None:
    ferry.night("as-found", {"A1": 83.0})
    figures = {"repeatability_k": 0.31, "repeatability_dof": 40.0, "night_k": 0.05}
    study = BenchStudy(bench=QUAY, done=ferry.day, run_ids=(1,), content={"for_budget": figures})
    ferry.shop.records.add(study, ferry.stamp)
    ferry.night("as-found", {"A2": 83.0})
    before, after = (
        k.entry.content
        for k in ferry.shop.records.current(Result)
        if k.entry.content["name"] in ("A1", "A2")
    )
    assert repeatability(before) == pytest.approx(0.12), "the bench file's own"
    assert repeatability(after) == pytest.approx(0.31)


def run_short(shop: FerryShop, folder: Path, **options: Any) -> NightDone:
    plan = plan_night(shop.shop, BATCH, "as-found", QUAY, serials=["A1"], steps=STEPS)
    turns = itertools.count()  # a tenth of a second a turn: every tenth turn commits and tells
    return shop_night(
        shop.shop,
        plan,
        QUAY,
        OPERATOR,
        shop.at,
        clear=True,
        folder=folder,
        wall_s=lambda: next(turns) * 0.1,
        now=lambda: shop.at.replace("18:", "23:"),
        **options,
    )


@pytest.fixture
def short(tmp_path: Path, place: Place) -> Iterator[FerryShop]:  # noqa: F811
    with ferry_shop(tmp_path, place) as made:
        path = tmp_path / "quay.toml"
        path.write_text(path.read_text().replace("seed = 3\n", "seed = 3\n" + WARM))
        made.batch(["A1"])
        yield made


@pytest.mark.parametrize("place", EVERYWHERE, indirect=True)
def test_a_real_night_from_plan_to_record(short: FerryShop, tmp_path: Path) -> None:
    done = run_short(short, tmp_path, remarks=(("attended", "virtual bench"),))
    records = short.shop.records
    assert (done.outcome.status, len(done.results), len(done.reports)) == ("done", 2, 2)
    with closing(Journal(records.place)) as journal:
        line = journal.run(done.outcome.run_id)
        events = journal.events(done.outcome.run_id)
        journal.verify_chain(done.outcome.run_id)
    assert (line.head.started, line.head.bench) == (short.at, QUAY)
    named = json.loads(next(e.text for e in events if e.kind == LOADINGS))
    loadings = {str(k.entry.station): k.root for k in records.current(Loading)}
    assert named == loadings
    blocking = [e.text for e in events if e.kind == BLOCKING]
    assert blocking[0] == "probes: no calibration on record; calibrate probe"
    runs = records.current(StationRun)
    assert {k.at for k in runs} == {short.at.replace("18:", "23:")}
    step = story_in(records, BATCH, "A1").present
    assert step is not None
    assert step.result is not None
    assert step.result.entry.content["start_to_open_c"]["value"] is None
    assert len(step.result.entry.content["probe_minus_guard_k"]) == 1
    assert (short.shop.nights / "run-1" / "curves.svg").exists()
    decided = decide(short.shop, BATCH, short.stamp)[0].decision
    assert decided is not None
    assert decided.entry.outcome == "unset", "41 °C opens nothing"
    records.verify()


@pytest.mark.parametrize("place", EVERYWHERE, indirect=True)
def test_a_stopped_night_is_gone_on_with_and_kept_anew(short: FerryShop, tmp_path: Path) -> None:
    def stop(_: Any) -> None:
        command(control_path(short.shop.bench(QUAY), tmp_path), "stop tea break")

    stopped = run_short(short, tmp_path, on_progress=stop)
    assert stopped.outcome.status == "stopped"
    run = short.shop.records.current(StationRun)[0]
    done = shop_resume(
        short.shop, QUAY, OPERATOR, short.at, clear=True, folder=tmp_path, now=lambda: short.at
    )
    assert (done.outcome.run_id, done.outcome.status) == (stopped.outcome.run_id, "done")
    again = short.shop.records.one(StationRun, run.root)
    assert (again.entry.status, again.reason) == ("done", "the run was gone on with")
    assert again.entry.run_digest != run.entry.run_digest
    assert len(short.shop.records.current(Result)) == 2


@pytest.mark.parametrize("place", ["sqlite"], indirect=True)
def test_a_process_killed_in_its_night_is_closed_and_kept_by_the_next(
    short: FerryShop, tmp_path: Path
) -> None:
    plan = plan_night(short.shop, BATCH, "as-found", QUAY, serials=["A1"], steps=STEPS)
    run_id = short.journal(plan, {"A1": None, REFERENCE: None})
    with closing(Journal(short.shop.records.place)) as journal:
        journal.reopen(run_id)
    done = run_short(short, tmp_path)
    assert done.outcome.run_id == run_id + 1
    killed = short.shop.records.current(StationRun, run_id=run_id)
    assert {k.entry.status for k in killed} == {"killed"}
    assert len(short.shop.records.current(Unit)) == 2


@pytest.mark.parametrize("place", ["sqlite"], indirect=True)
def test_a_night_that_cannot_begin_leaves_nothing(short: FerryShop, tmp_path: Path) -> None:
    plan = plan_night(short.shop, BATCH, "as-found", QUAY, serials=["A1"], steps=STEPS)
    hot = plan.model_copy(update={"step": [Soak(to_c=104.0)]})
    for wrong, by, words in (
        (hot, OPERATOR, "above the bath's limit"),
        (plan, "Nobody", "no person of name 'Nobody'"),
    ):
        with pytest.raises(InputError, match=words):
            shop_night(short.shop, wrong, QUAY, by, short.at, clear=True, folder=tmp_path)
    with pytest.raises(InputError, match="bench 'pier': not in the workshop's file"):
        shop_night(short.shop, plan, "pier", OPERATOR, short.at, clear=True, folder=tmp_path)
    assert short.shop.records.current(Loading) == []
