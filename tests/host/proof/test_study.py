"""Bench study: Latin squares and crossed studies against published analyses."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest

from host.proof.reference import figures, rows
from proofbath.curve.bench_budget import BenchBudget
from proofbath.errors import InputError
from proofbath.proof.gauge_study import gauge_study
from proofbath.proof.study import Cell, Study, difference_interval, layout, study

PROPELLANT = ((24, 20, 19, 24, 24), (17, 24, 30, 27, 36), (18, 38, 26, 27, 21))
PROPELLANT += ((26, 31, 26, 23, 22), (22, 30, 20, 29, 31))


def test_latin_square_of_a_textbook() -> None:
    """Montgomery, Design and Analysis of Experiments, rocket propellant, 5 x 5: sums of squares
    330 (formulation), 68 (batch), 150 (operator), 128 (error, 12 degrees of freedom)."""
    cells = [
        Cell("ABCDE"[(batch + operator) % 5], str(operator), str(batch), (float(value),))
        for batch, line in enumerate(PROPELLANT)
        for operator, value in enumerate(line)
    ]
    found = study(cells)
    error = 128 / 12
    assert found.reload.variance == pytest.approx(error)
    assert found.reload.degrees_of_freedom == 12
    for part, squares in ((found.unit, 330), (found.station, 150), (found.night, 68)):
        assert part.degrees_of_freedom == 4
        assert part.f == pytest.approx(squares / 4 / error)
        assert part.variance == pytest.approx((squares / 4 - error) / 5)
    assert found.unit.p == pytest.approx(0.0025, abs=1e-4)
    assert found.mean == pytest.approx(25.4)


def test_every_unit_is_at_every_station_once_in_six_nights() -> None:
    square = layout()
    assert all(sorted(night) == list(range(6)) for night in square)
    assert all(sorted(station) == list(range(6)) for station in zip(*square, strict=True))
    short = layout(3)
    assert all(sorted(night) == list(range(6)) for night in short)
    assert all(len(set(station)) == 3 for station in zip(*short, strict=True))
    with pytest.raises(InputError, match="6 or 3 nights"):
        layout(4)


def drawn(
    rng: np.random.Generator,
    nights: int = 6,
    sds: Sequence[float] = (1.0, 0.06, 0.05, 0.1, 0.12),
    cycles: int = 3,
) -> Study:
    """Return the study of a drawn bench: sds of unit, station, night, reload, repeatability."""
    units, stations = rng.normal(82, sds[0], 6), rng.normal(0, sds[1], 6)
    cells = []
    for night, row in enumerate(layout(nights)):
        of_night = rng.normal(0, sds[2])
        for station, unit in enumerate(row):
            level = units[unit] + stations[station] + of_night + rng.normal(0, sds[3])
            read = tuple(float(v) for v in rng.normal(level, sds[4], cycles))
            cells.append(Cell(f"u{unit}", f"s{station}", f"n{night}", read))
    return study(cells)


@pytest.mark.parametrize("nights", [6, 3])
def test_components_are_those_the_bench_was_drawn_from(nights: int) -> None:
    """Simulated: unbiased variances within 4 standard errors, intervals hold 95 %."""
    rng, sds = np.random.default_rng(nights), (1.0, 0.3, 0.2, 0.15, 0.12)
    found = [drawn(rng, nights, sds) for _ in range(300)]
    names = ("unit", "station", "night", "reload", "repeatability")
    for name, sd in zip(names, sds, strict=True):
        parts = [getattr(item, name) for item in found]
        variances = np.array([part.variance for part in parts])
        assert variances.mean() == pytest.approx(
            sd**2, abs=4 * variances.std() / math.sqrt(len(found))
        )
        held = np.mean([part.interval[0] <= sd <= part.interval[1] for part in parts])
        assert 0.91 <= held <= 0.99, name


def test_the_interval_touches_zero_where_the_f_test_turns() -> None:
    """At F equal to its upper 2.5 % point (4, 12: 4.1212, F table) the least component is 0."""
    assert difference_interval(4.1212, 4, 1.0, 12, 5.0)[0] == pytest.approx(0.0, abs=0.01)
    assert difference_interval(4.3, 4, 1.0, 12, 5.0)[0] > 0.05
    assert difference_interval(0.5, 4, 1.0, 12, 5.0)[0] == 0.0


def test_the_result_feeds_the_benchs_budget() -> None:
    found = drawn(np.random.default_rng(1))
    budget = BenchBudget.model_validate(found.for_budget())
    assert found.repeatability is not None
    assert budget.pooled_repeatability() == (found.repeatability.sd, 72.0)  # 36 cells x 2
    assert budget.night_k == pytest.approx(math.hypot(found.night.sd, found.reload.sd))
    single = drawn(np.random.default_rng(1), cycles=1)
    assert single.repeatability is None
    assert single.for_budget()["repeatability_dof"] == 20


def test_a_component_that_is_not_there_is_zero_and_not_negative() -> None:
    rng = np.random.default_rng(5)
    found = [drawn(rng, sds=(1.0, 0.0, 0.0, 0.0, 0.1)).station for _ in range(40)]
    negative = [part for part in found if part.variance < 0]
    assert negative
    assert all(part.sd == 0.0 and part.interval[0] == 0.0 for part in negative)


def test_cells_that_cannot_part_the_factors_are_refused() -> None:
    never_moved = [
        Cell(f"u{n}", f"s{n}", f"n{night}", (82.0 + n + 0.1 * night,))
        for n in range(6)
        for night in range(3)
    ]
    with pytest.raises(InputError, match="cannot be told from the rest"):
        study(never_moved)
    with pytest.raises(InputError, match="load more"):
        study([Cell("u1", "s1", "n1", (82.0,)), Cell("u2", "s2", "n1", (82.1,))])


def aiag() -> np.ndarray:
    values = np.empty((10, 3, 3))
    for row in rows("gaugerr_aiag_data"):
        place = int(row["part"]) - 1, "ABC".index(row["operator"]), int(row["trial"]) - 1
        values[place] = float(row["value"])
    return values


def test_crossed_study_with_the_interaction_pooled() -> None:
    """AIAG Measurement Systems Analysis, 4th ed., 10 parts x 3 operators x 3 trials."""
    published, found = figures("gaugerr_aiag_results"), gauge_study(aiag())
    assert found.pooled
    assert found.interaction_p == pytest.approx(float(published["pint"]), abs=5e-4)
    for name, value in zip(("SSp", "SSo", "SSi", "SSe", "SSt"), found.sums_of_squares, strict=True):
        assert value == pytest.approx(float(published[name]), abs=6e-5)
    assert found.repeatability == pytest.approx(float(published["EV"]), abs=2e-6)
    assert found.reproducibility == pytest.approx(float(published["AV"]), abs=2e-6)
    assert found.gauge == pytest.approx(float(published["GRR"]), abs=2e-6)
    assert found.parts == pytest.approx(float(published["PV"]), abs=2e-6)
    assert found.interaction == 0.0
    assert 100 * found.gauge_share == pytest.approx(float(published["pct_study_GRR"]), abs=0.05)
    assert found.distinct_categories == pytest.approx(float(published["ndc"]), abs=1e-3)


def test_crossed_study_unpooled() -> None:
    """The same data without pooling, recomputed apart."""
    expected = figures("gaugerr_aiag_results_no_pooling", value="recomputed_here")
    found = gauge_study(aiag(), pool=False)
    assert not found.pooled
    for name, value in (
        ("EV", found.repeatability),
        ("AV", found.reproducibility),
        ("GRR", found.gauge),
        ("PV", found.parts),
        ("TV", found.total),
    ):
        assert value == pytest.approx(float(expected[name]), abs=1e-6)
    assert found.repeatability_dof == 60


def test_a_crossed_study_needs_repeats() -> None:
    with pytest.raises(InputError, match="at least"):
        gauge_study(np.zeros((10, 3, 1)))
