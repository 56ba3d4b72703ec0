"""What nights and a study teach a night's budget."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path

import pytest

from host.workshop.ferry_shop import QUAY, FerryShop, ferry_shop
from proofbath.curve.bench_budget import BenchBudget
from proofbath.curve.budget import Contribution
from proofbath.curve.result import CurveResult, Quantity, known, unknown
from proofbath.store.kinds import BenchStudy, Result
from proofbath.workshop.pooling import POOLED, budget_for

PROFILE = "plain-as-found"


@pytest.fixture
def ferry(tmp_path: Path) -> Iterator[FerryShop]:
    with ferry_shop(tmp_path) as made:
        yield made


def scattered(sd_k: float, freedom: float) -> Quantity:
    parts = [Contribution("scatter", sd_k / math.sqrt(2 * freedom), degrees_of_freedom=freedom)]
    return known(sd_k, parts)


def result(sd_k: float, freedom: float) -> CurveResult:
    quantities = dict.fromkeys(POOLED, unknown("not asked"))
    return CurveResult(
        "A1", 0.1, quantities | {"repeatability_k": scattered(sd_k, freedom)}, {}, (), ()
    )


def budget(ferry: FerryShop, own: BenchBudget, *tonight: CurveResult) -> tuple[float, float]:
    found = budget_for(ferry.shop.records, own, QUAY, "Teal-82", PROFILE, tonight)
    assert found is not None
    assert found.repeatability_k is not None
    assert found.repeatability_dof is not None
    return found.repeatability_k, found.repeatability_dof


def test_the_scatters_of_units_are_pooled_by_their_degrees_of_freedom(ferry: FerryShop) -> None:
    """Pooled variance: the mean of the variances weighted by their degrees of freedom."""
    found = budget(ferry, BenchBudget(), result(0.1, 2), result(0.2, 4))
    assert found == pytest.approx((math.sqrt((2 * 0.01 + 4 * 0.04) / 6), 6))


def test_what_is_known_better_counts(ferry: FerryShop) -> None:
    file = BenchBudget(repeatability_k=0.12, repeatability_dof=5)
    assert budget(ferry, file, result(0.3, 2), result(0.3, 2)) == (0.12, 5)
    assert budget(ferry, file, result(0.3, 4), result(0.3, 4)) == pytest.approx((0.3, 8))
    for_good = BenchBudget(repeatability_k=0.12)
    found = budget_for(ferry.shop.records, for_good, QUAY, "Teal-82", PROFILE, [result(0.3, 40)])
    assert found is not None
    assert found.repeatability_k == 0.12


def test_earlier_nights_of_the_type_and_profile_are_pooled_too(ferry: FerryShop) -> None:
    ferry.batch(["A1"])
    ferry.night("as-found", {"A1": 82.0})
    kept = ferry.shop.records.current(Result)[0]
    shown = {"repeatability_k": scattered(0.2, 4).to_json()}
    entry = kept.entry.model_copy(update={"content": {**kept.entry.content, **shown}})
    ferry.shop.records.correct(kept.root, entry, "for the test", ferry.stamp)
    own = BenchBudget()
    pooled = pytest.approx((math.sqrt((2 * 0.01 + 4 * 0.04) / 6), 6))
    assert budget(ferry, own, result(0.1, 2)) == pooled
    for unit_type, profile in (("Wigeon-90", PROFILE), ("Teal-82", "plain-as-left")):
        found = budget_for(ferry.shop.records, own, QUAY, unit_type, profile, [result(0.1, 2)])
        assert found is not None
        assert found.repeatability_dof == pytest.approx(2)


def test_a_study_goes_before_both(ferry: FerryShop) -> None:
    figures = {"repeatability_k": 0.07, "repeatability_dof": 30.0, "night_k": 0.05}
    study = BenchStudy(bench=QUAY, done=ferry.day, run_ids=(1,), content={"for_budget": figures})
    ferry.shop.records.add(study, ferry.stamp)
    file = BenchBudget(repeatability_k=0.12, repeatability_dof=100)
    assert budget(ferry, file, result(0.3, 50)) == (0.07, 30)


def test_a_bench_without_a_budget_stays_without(ferry: FerryShop) -> None:
    none = budget_for(ferry.shop.records, None, QUAY, "Teal-82", PROFILE, [result(0.1, 2)])
    assert none is None
