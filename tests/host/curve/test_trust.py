"""Each fault's signature is recognised on a record that shows it, and a healthy one is silent."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest

from host.curve.closed_form import Floats, StraightUnit, night, ramps, record_of
from proofbath.curve.analyse import analyse
from proofbath.curve.bench_budget import BenchBudget
from proofbath.curve.record import CurveRecord
from proofbath.curve.result import CurveResult

BATH_C = night((1.0, 0.5))
LIFT_MM = StraightUnit().lift_mm(BATH_C)
BENCH = BenchBudget(repeatability_k=0.1, repeatability_dof=40)


def codes(lift_mm: Floats, bath_c: Floats = BATH_C) -> tuple[set[str], CurveResult]:
    result = analyse(record_of(bath_c, lift_mm), rated_lift_mm=8, bench_budget=BENCH)
    json.dumps(result.to_json(), allow_nan=False)
    return {w.code for w in result.warnings}, result


def follower(lift_mm: Floats, behind_mm: float) -> Floats:
    """A plunger that stays until it is `behind_mm` away, then jumps."""
    shown, place = [], lift_mm[0]
    for lift in lift_mm.tolist():
        place = lift if abs(lift - place) > behind_mm else place
        shown.append(place)
    return np.array(shown)


def test_a_healthy_unit_raises_no_finding() -> None:
    assert codes(LIFT_MM)[0] == set()


@pytest.mark.parametrize(("behind_mm", "code"), [(0.06, "gauge_sticking"), (0.8, "valve_sticking")])
def test_steps_instead_of_motion(behind_mm: float, code: str) -> None:
    given, result = codes(follower(LIFT_MM, behind_mm))
    assert code in given
    assert result.start_to_open_c.value is None
    assert (result.start_to_open_c.reason or "").startswith(code)


def test_bubbles_come_and_go() -> None:
    lift_mm = LIFT_MM.copy()
    for first in range(9000, 16000, 400):
        lift_mm[first : first + 60] += 0.15
    given, result = codes(lift_mm)
    assert "bubbles" in given
    assert result.closing_c.value is None


def test_a_rattling_vent_pin_is_noise() -> None:
    draw = np.random.default_rng(2)
    given, _ = codes(LIFT_MM + 0.1 * np.abs(draw.standard_normal(len(LIFT_MM))))
    assert given == {"gauge_noisy"}


def test_a_gauge_that_loses_contact() -> None:
    lift_mm = LIFT_MM.copy()
    lift_mm[20000:20300] = 19.0
    given, result = codes(lift_mm)
    assert given == {"gauge_jump"}
    assert result.full_lift_mm.value is None


def test_air_round_the_element_is_a_lag_far_beyond_the_usual() -> None:
    assert "slow_element" in codes(StraightUnit(lag_s=75).lift_mm(BATH_C))[0]


def test_a_weak_spring_adds_hysteresis_in_mm() -> None:
    """On a bent curve only: a straight one cannot tell mm from K."""

    def bent(x: Floats) -> Floats:
        return np.asarray(0.35 * x + 0.02 * x**2)

    up = bent(np.clip(BATH_C - 82.0, 0, None))
    pin, shown = 0.0, []
    falling = np.gradient(BATH_C) < 0
    down = bent(np.clip(BATH_C - 79.0, 0, None))
    for rise, fall, falls in zip(up, down, falling, strict=True):
        pin = min(pin, fall + 0.7) if falls else max(pin, rise)
        shown.append(pin)
    given, _ = codes(np.array(shown) * (BATH_C > 72))
    assert given & {"late_return", "no_return"}


def test_starts_that_jump_are_not_repeatable() -> None:
    half = len(BATH_C) * 2 // 5
    lift_mm = np.concatenate([LIFT_MM[:half], StraightUnit(opens_c=84.0).lift_mm(BATH_C[half:])])
    assert "not_repeatable" in codes(lift_mm)[0]


def test_a_fast_ramp_is_said() -> None:
    bath_c = ramps((70, 0), (95, 3), (95, 300), (70, 1))
    assert "ramp_fast" in codes(StraightUnit().lift_mm(bath_c), bath_c)[0]


def test_inches_counts_and_a_wrong_sign_are_refused_in_words() -> None:
    record = record_of(BATH_C, LIFT_MM)
    inches = CurveRecord(record.t_s, record.bath_c, record.lift_mm / 25.4)
    counts = CurveRecord(record.t_s, record.bath_c, record.lift_mm / 0.00122)
    turned = CurveRecord(record.t_s, record.bath_c, -record.lift_mm)
    for wrong, code in ((inches, "lift_small"), (counts, "lift_unit"), (turned, "lift_sign")):
        result = analyse(wrong)
        assert result.warned(code)
        assert result.start_to_open_c.value is None
        assert result.start_to_open_c.reason


def test_a_stuck_gauge_a_dead_gauge_and_rubbish_never_raise() -> None:
    t_s = np.arange(20000) / 10
    bath_c = np.interp(t_s, [0, 1500, 2000], [70, 95, 80])
    draw = np.random.default_rng(3)
    for lift_mm in (
        np.full(len(t_s), 19.99),
        np.zeros(len(t_s)),
        draw.normal(0, 5, len(t_s)),
        np.cumsum(draw.normal(0, 0.05, len(t_s))),
        np.where(np.arange(len(t_s)) % 2, math.nan, 0.1),
    ):
        shown = analyse(CurveRecord(t_s, bath_c, lift_mm), rated_lift_mm=8).to_json()
        json.dumps(shown, allow_nan=False)
    shown = analyse(CurveRecord(t_s, draw.normal(80, 10, len(t_s)), t_s / 1e4)).to_json()
    json.dumps(shown, allow_nan=False)
