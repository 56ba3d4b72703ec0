"""A study of the bench over the records: planned, run, evaluated, and used in the budget."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from host.workshop.measured_shop import BENCH, MeasuredShop, Measurement, measured_shop
from proofbath.bench.night import check_night
from proofbath.curve.bench_budget import BenchBudget
from proofbath.description import parse_toml
from proofbath.errors import InputError
from proofbath.proof.study import Cell, study
from proofbath.run.plan import NightPlan
from proofbath.store.kinds import BenchStudy
from proofbath.workshop.bench_study import (
    budget_from_study,
    evaluate_study,
    keep_study,
    study_plans,
)
from proofbath.workshop.planning import plan_text
from proofbath.workshop.pooling import budget_for

SIX = [f"S{n}" for n in range(1, 7)]


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[MeasuredShop]:
    with measured_shop(tmp_path) as made:
        made.units(SIX)
        yield made


def run(shop: MeasuredShop, nights: int, seed: int = 1) -> list[Cell]:
    """Run a study's plans with drawn readings; return its cells by unit, station and run."""
    rng = np.random.default_rng(seed)
    unit_c = dict(zip(SIX, rng.normal(82, 0.8, 6), strict=True))
    station_k = rng.normal(0, 0.06, 7)
    cells = []
    for plan in study_plans(shop.records, "spring", SIX, nights):
        night_k = rng.normal(0, 0.05)
        measured, order = {}, [place.serial for place in plan.station]
        for place in plan.station:
            mean = unit_c[place.serial] + station_k[place.station] + night_k + rng.normal(0, 0.04)
            cycles = tuple(float(c) for c in mean + rng.normal(0, 0.1, 3))
            measured[place.serial] = Measurement(float(np.mean(cycles)), cycles_c=cycles)
        run_id = shop.night("spring", "trial", {s: measured[s] for s in order})
        cells += [
            Cell(p.serial, str(p.station), str(run_id), measured[p.serial].cycles_c)
            for p in plan.station
        ]
    return cells


def test_plans_are_a_latin_square_that_the_bench_can_run(shop: MeasuredShop) -> None:
    plans = study_plans(shop.records, "spring", SIX)
    assert len(plans) == 6
    at = [[place.serial for place in plan.station] for plan in plans]
    assert all(sorted(night) == SIX for night in at)
    assert all(sorted(station) == SIX for station in zip(*at, strict=True))
    for plan in plans:
        again = parse_toml(plan_text(plan), NightPlan, "plan")
        assert again == plan
        assert again.stage == "trial"
        check_night(again, shop.shop.bench(BENCH))
    assert len(study_plans(shop.records, "spring", SIX, 3)) == 3


def test_a_study_takes_six_different_units_of_one_plain_type(shop: MeasuredShop) -> None:
    with pytest.raises(InputError, match="5 different units"):
        study_plans(shop.records, "spring", [*SIX[:5], "S1"])
    with pytest.raises(InputError, match="no unit of serial 'S9'"):
        study_plans(shop.records, "spring", [*SIX[:5], "S9"])
    shop.batch("ferry 12", [])
    with pytest.raises(InputError, match="is the name of a batch; give the study one of its own"):
        study_plans(shop.records, "ferry 12", SIX)


@pytest.mark.parametrize("nights", [6, 3])
def test_the_runs_on_record_give_the_components(shop: MeasuredShop, nights: int) -> None:
    """The same cells given to the analysis of variance by hand; cycles are taken at zero rate."""
    cells = run(shop, nights)
    found = evaluate_study(shop.records, BENCH, "spring")
    by_hand = study(cells)
    assert found.loadings == 6 * nights
    assert found.left_out == ()
    for name in ("unit", "station", "night", "reload", "repeatability"):
        mine, other = getattr(found.study, name), getattr(by_hand, name)
        assert mine.sd == pytest.approx(other.sd, abs=1e-9)
        assert mine.interval == pytest.approx(other.interval, abs=1e-9)


def test_a_kept_study_feeds_the_budget(shop: MeasuredShop) -> None:
    run(shop, 6)
    assert budget_from_study(shop.records, BENCH) is None
    found = keep_study(shop.shop, BENCH, "spring", shop.now)
    (kept,) = shop.records.current(BenchStudy, bench=BENCH)
    assert kept.entry.run_ids == found.run_ids
    assert kept.entry.done == shop.day
    figures = budget_from_study(shop.records, BENCH)
    assert figures == found.study.for_budget()
    assert figures is not None
    own = BenchBudget(probe_k=0.05, repeatability_k=0.3, repeatability_dof=12)
    used = budget_for(shop.records, own, BENCH, "Teal-82", "plain-as-left", [])
    assert used is not None
    assert used.repeatability_k == pytest.approx(figures["repeatability_k"])
    assert used.night_k == pytest.approx(figures["night_k"])
    assert used.probe_k == 0.05
    assert budget_from_study(shop.records, "another") is None


def test_broken_nights_and_units_that_never_opened_are_left_out(shop: MeasuredShop) -> None:
    run(shop, 6)
    one = {s: Measurement(82.0, cycles_c=(82.0, 82.1)) for s in SIX}
    broken = shop.night("spring", "trial", one, status="stopped")
    dead = shop.night("spring", "trial", one | {"S2": Measurement(None)})
    found = evaluate_study(shop.records, BENCH, "spring")
    assert found.left_out == (
        f"run {broken}: ended stopped: stopped",
        f"run {dead}, S2: never opened",
    )
    assert broken not in found.run_ids
    json.dumps(found.content(), allow_nan=False)


def test_a_study_that_never_ran_is_refused(shop: MeasuredShop) -> None:
    with pytest.raises(InputError, match="no night of that name"):
        evaluate_study(shop.records, BENCH, "spring")
