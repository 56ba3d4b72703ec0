"""Start, closing, hysteresis, lag and lifts of a unit whose answers are closed forms."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest

from host.curve.closed_form import STEP_S, StraightUnit, night, ramps, record_of
from proofbath.curve.analyse import analyse
from proofbath.curve.bench_budget import BenchBudget
from proofbath.curve.content import ResultContent
from proofbath.curve.record import CurveRecord
from proofbath.curve.result import CurveResult
from proofbath.quantity.levels import LEVELS_MM, OPENING
from proofbath.virtual.description import VirtualUnit
from proofbath.virtual.truth import lift_mm, rising_c

QUANTITIES = (
    "start_to_open_c",
    "full_open_c",
    "full_lift_mm",
    "closing_c",
    "hysteresis_k",
    "zero_return_mm",
    "lag_s",
    "unpowered_start_to_open_c",
    "shift_k_per_w",
)
BENCH = BenchBudget(
    probe_k=0.05,
    gradient_k=0.06,
    gauge_mm=0.005,
    gauge_relative=0.001,
    night_k=0.05,
    repeatability_k=0.1,
    repeatability_dof=40,
)


def value(result: CurveResult, name: str) -> float:
    found = result.quantities[name].value
    assert found is not None, result.quantities[name].reason
    return found


@pytest.fixture(scope="module")
def straight() -> CurveResult:
    unit, bath_c = StraightUnit(), night()
    return analyse(record_of(bath_c, unit.lift_mm(bath_c)), rated_lift_mm=8.0)


def test_values_at_zero_rate_are_those_of_the_closed_form(straight: CurveResult) -> None:
    """Within 0.07 K: the lag's shape rule is the wax model's, a constant lag reads 15 % high."""
    unit = StraightUnit()
    assert value(straight, "start_to_open_c") == pytest.approx(unit.start_c(0.1), abs=0.07)
    assert value(straight, "closing_c") == pytest.approx(unit.closing_c(0.1), abs=0.05)
    assert value(straight, "full_open_c") == pytest.approx(unit.start_c(8.0), abs=0.07)
    assert value(straight, "hysteresis_k") == pytest.approx(3.0, abs=0.1)
    assert value(straight, "lag_s") == pytest.approx(20.0, abs=4.0)
    assert value(straight, "full_lift_mm") == pytest.approx(8.5, abs=0.01)
    assert value(straight, "zero_return_mm") == pytest.approx(0.0, abs=0.001)
    assert value(straight, "start_by_line_c") == pytest.approx(unit.opens_c, abs=0.07)


def test_each_cycle_shows_its_lag_and_its_true_rate(straight: CurveResult) -> None:
    """A constant lag shifts a ramp by rate times lag: 0.333 K at 1 K/min and 20 s."""
    for cycle, rate in zip(straight.cycles, (1.0, 1.0, 0.5), strict=True):
        assert cycle.start_to_open_c == pytest.approx(82.2 + rate / 3, abs=0.01)
        assert cycle.start_rate_k_per_min == pytest.approx(rate, abs=0.01)
        assert cycle.closing_c == pytest.approx(79.2 - 0.5 / 3, abs=0.01)


def test_the_json_has_the_fixed_shape(straight: CurveResult) -> None:
    shown = json.loads(json.dumps(straight.to_json(), allow_nan=False))
    for name in QUANTITIES:
        assert {
            "value",
            "standard_uncertainty",
            "expanded_uncertainty",
            "coverage_factor",
            "degrees_of_freedom",
            "budget",
            "reason",
            "rate",
        } <= shown[name].keys()
    assert shown["start_to_open_c"]["rate"] == "zero"
    assert shown["unpowered_start_to_open_c"]["value"] is None
    assert shown["unpowered_start_to_open_c"]["reason"]
    assert {w["code"] for w in shown["warnings"]} == {"no_bench_budget"}
    assert len(shown["cycles"]) == 3


def test_what_nobody_supplied_is_listed_so_and_a_bench_supplies_it() -> None:
    unit, bath_c = StraightUnit(), night((1.0, 0.5))
    record = record_of(bath_c, unit.lift_mm(bath_c))
    bare = analyse(record).to_json()["start_to_open_c"]["budget"]
    assert {item["name"] for item in bare if item["evaluation"] == "not supplied"} == {
        "bath probe",
        "bath gradient",
        "gauge",
        "gauge scale",
        "change between nights",
    }
    full = analyse(record, bench_budget=BENCH)
    assert not full.warned("no_bench_budget")
    budget = full.to_json()["start_to_open_c"]["budget"]
    assert all(item["contribution"] is not None for item in budget)
    total = math.sqrt(sum(item["contribution"] ** 2 for item in budget))
    assert full.start_to_open_c.standard_uncertainty == pytest.approx(total)


def test_the_threshold_is_the_users(straight: CurveResult) -> None:
    unit, bath_c = StraightUnit(), night((1.0, 0.5))
    result = analyse(record_of(bath_c, unit.lift_mm(bath_c)), threshold_mm=0.35)
    assert value(result, "start_to_open_c") == pytest.approx(unit.start_c(0.35), abs=0.05)
    assert result.start_to_open_c.at == {"lift_mm": 0.35}


def test_one_rate_without_hold_says_that_the_lag_is_a_prior() -> None:
    unit, bath_c = StraightUnit(), ramps((70, 0), (95, 1), (70, 0.5))
    result = analyse(record_of(bath_c, unit.lift_mm(bath_c)))
    assert result.warned("lag_from_prior")
    interval_k = result.start_to_open_c.expanded_uncertainty or 0.0
    assert 0.15 < interval_k < 0.5
    assert abs(value(result, "start_to_open_c") - unit.start_c(0.1)) < interval_k


def test_less_than_six_kelvin_closed_gives_a_level_only_and_says_so() -> None:
    unit = StraightUnit()
    bath_c = ramps((76, 0), (76, 300), (95, 1), (95, 300), (76, 0.5))
    budget = analyse(record_of(bath_c, unit.lift_mm(bath_c))).start_to_open_c.contributions
    zero = next(item for item in budget if item.name == "lift zero")
    assert "level only" in zero.note
    assert abs(zero.share) > 0.002


@pytest.mark.parametrize(
    ("opens_c", "said"),
    [(105.0, "never opened"), (60.0, "no closed part"), (68.5, "no closed part")],
)
def test_never_open_and_already_open_are_null_with_reason(opens_c: float, said: str) -> None:
    bath_c = ramps((70, 0), (70, 300), (95, 1), (95, 300), (70, 0.5))
    result = analyse(record_of(bath_c, StraightUnit(opens_c=opens_c).lift_mm(bath_c)))
    assert result.start_to_open_c.value is None
    assert said in (result.start_to_open_c.reason or "")
    json.dumps(result.to_json(), allow_nan=False)


def test_a_gap_at_the_start_is_said_and_not_bridged() -> None:
    unit, bath_c = StraightUnit(), ramps((70, 0), (95, 1), (95, 300), (70, 0.5))
    record = record_of(bath_c, unit.lift_mm(bath_c))
    keep = np.abs(record.bath_c - 82.5) > 1
    keep |= record.t_s > 1600
    holed = CurveRecord(record.t_s[keep], record.bath_c[keep], record.lift_mm[keep])
    result = analyse(holed)
    assert result.warned("gaps")
    assert "gap" in (result.start_to_open_c.reason or "")
    assert value(result, "closing_c") == pytest.approx(unit.closing_c(0.1), abs=0.05)


def cold_morning(lost_c: float) -> tuple[CurveRecord, StraightUnit]:
    """Two cycles; the first fall is lost from `lost_c` on, and the next rise is from a cold bath.

    Gauge and fixture creep by 0.7 mm more down there than the closed part near the start tells.
    """
    unit = StraightUnit()
    bath_c = ramps(
        (40, 0), (70, 5), (70, 300), (95, 1), (95, 300), (20, 1), (70, 5), (70, 300),
        (95, 0.5), (95, 300), (70, 0.5), (70, 120),
    )  # fmt: skip
    record = record_of(bath_c, unit.lift_mm(bath_c))
    creep_mm = 0.7 * np.clip((65.0 - record.bath_c) / 45.0, 0.0, None)
    top, cold = int(np.argmax(record.bath_c > 94.9)), int(np.argmin(record.bath_c))
    falling = np.arange(len(bath_c)) > top + 3300
    lost = falling & (record.bath_c < lost_c) & (np.arange(len(bath_c)) < cold)
    kept = ~lost
    return CurveRecord(
        record.t_s[kept], record.bath_c[kept], (record.lift_mm + creep_mm)[kept]
    ), unit


def test_a_bath_that_went_cold_unseen_says_nothing_of_the_unit() -> None:
    record, unit = cold_morning(lost_c=84.0)
    result = analyse(record, rated_lift_mm=5)
    assert {w.code for w in result.warnings} <= {"gaps", "no_bench_budget"}
    first, second = result.cycles
    assert first.closing_c is None
    assert (first.reasons["closing_c"]).startswith("gap at the crossing")
    assert first.zero_return_mm is None
    assert second.closing_c is not None
    assert value(result, "closing_c") == pytest.approx(unit.closing_c(0.1), abs=0.06)
    assert value(result, "start_to_open_c") == pytest.approx(unit.start_c(0.1), abs=0.06)


def test_a_fall_that_goes_on_behind_a_gap_keeps_its_closing() -> None:
    unit, bath_c = StraightUnit(), ramps((60, 0), (95, 1), (95, 300), (60, 0.5))
    record = record_of(bath_c, unit.lift_mm(bath_c))
    kept = (record.t_s < 2700) | (record.t_s > 3000)
    assert 88.0 < record.bath_c[~kept].min() < 92.0
    holed = CurveRecord(record.t_s[kept], record.bath_c[kept], record.lift_mm[kept])
    assert value(analyse(holed), "closing_c") == pytest.approx(unit.closing_c(0.1), abs=0.05)


@pytest.mark.parametrize(
    "bath_c",
    [ramps((70, 0), (95, 1)), ramps((95, 0), (95, 60), (70, 1)), ramps((85, 0), (85, 900))],
    ids=["only rising", "only falling", "constant"],
)
def test_half_records_give_nulls_with_reasons(bath_c: np.ndarray) -> None:
    shown = analyse(record_of(bath_c, StraightUnit().lift_mm(bath_c)), rated_lift_mm=8).to_json()
    json.dumps(shown, allow_nan=False)
    for name in QUANTITIES:
        assert (shown[name]["value"] is None) == bool(shown[name]["reason"])


def test_missing_and_repeated_samples_are_warned_of() -> None:
    unit, bath_c = StraightUnit(), ramps((70, 0), (95, 1), (95, 300), (70, 0.5))
    record = record_of(bath_c, unit.lift_mm(bath_c))
    t_s, lift_mm = record.t_s.copy(), record.lift_mm.copy()
    lift_mm[100:110] = math.nan
    t_s[500] = t_s[499]
    result = analyse(CurveRecord(t_s, record.bath_c, lift_mm))
    assert result.warned("missing_values")
    assert result.warned("repeated_time")
    assert value(result, "start_to_open_c") == pytest.approx(82.2, abs=0.1)


def test_the_rising_curve_is_stated_at_each_level_that_it_reaches(straight: CurveResult) -> None:
    """The unit lifts 8.5 mm in the end: 8 mm are its last level. Closed form: 82 °C + 2 K/mm."""
    stated = straight.series[OPENING]
    assert [one.threshold_mm for one in stated] == [mm for mm in LEVELS_MM if mm <= 8.0]
    for one in stated:
        assert one.threshold_mm is not None
        assert one.value == pytest.approx(StraightUnit().start_c(one.threshold_mm), abs=0.07)
        assert (one.name, one.rate, one.estimator) == (OPENING, "zero", "crossing")


def test_the_levels_of_a_wax_element_cover_its_own_law() -> None:
    """A virtual wax element, whose lift over temperature is known, behind a lag of 20 s."""
    true = VirtualUnit(serial="T82-0101", station=1)
    bath_c = ramps((70.0, 600.0), (96.0, 1.0), (96.0, 300.0), (70.0, 1.0), (70.0, 60.0))
    lifts = np.array([lift_mm(true, c) for c in np.arange(60.0, 100.0, 0.01)])
    followed = followed_by(bath_c, 20.0)
    shown = np.interp(followed, np.arange(60.0, 100.0, 0.01), lifts)
    for one in analyse(record_of(bath_c, shown), bench_budget=BENCH).series[OPENING]:
        assert one.threshold_mm is not None
        known_c = rising_c(true, one.threshold_mm)
        assert one.value == pytest.approx(known_c, abs=one.expanded_uncertainty)


def followed_by(bath_c: np.ndarray, lag_s: float) -> np.ndarray:
    """Return what a part of one lag feels, by exact steps."""
    felt, out = bath_c[0], np.empty(len(bath_c))
    share = 1 - math.exp(-STEP_S / lag_s)
    for index, bath in enumerate(bath_c.tolist()):
        felt += share * (bath - felt)
        out[index] = felt
    return out


@pytest.mark.parametrize("opens_c", [150.0, 40.0])
def test_a_unit_that_never_opened_or_was_open_states_no_level(opens_c: float) -> None:
    bath_c = night()
    result = analyse(record_of(bath_c, StraightUnit(opens_c).lift_mm(bath_c)))
    assert result.series[OPENING] == ()


def test_a_finding_that_spoils_temperatures_spoils_the_levels() -> None:
    """Lift typed in counts of a micrometre: no lift of it is one."""
    bath_c = night()
    lifts = 1000.0 * StraightUnit().lift_mm(bath_c)
    result = analyse(record_of(bath_c, lifts))
    assert result.warned("lift_unit")
    assert result.series[OPENING] == ()


def test_levels_are_written_and_read_back_and_may_be_missing(straight: CurveResult) -> None:
    kept = json.loads(json.dumps(straight.to_json()))
    read = ResultContent.from_json(kept).curve.series[OPENING]
    assert [one.form for one in read] == [one.form for one in straight.series[OPENING]]
    assert [one.value for one in read] == [one.value for one in straight.series[OPENING]]
    del kept[OPENING]
    assert OPENING not in ResultContent.from_json(kept).curve.series
