"""True answers against the figures stated for the model unit and against hand calculation.

Unless said otherwise the figures are an own computation from the stated model, done apart from
this code and rounded to 0.1 K; the model's parameters themselves are engineering memory, no source.
"""

from __future__ import annotations

import pytest

from proofbath.virtual.description import VirtualUnit
from proofbath.virtual.truth import (
    Power,
    element_w,
    falling_c,
    hysteresis_k,
    lift_mm,
    rising_c,
    shells_c,
    shift_k_per_w,
    true_unit,
    volume_lift_mm,
)

TEAL_82 = VirtualUnit(serial="T82-MODEL", station=1)
BARE = TEAL_82.model_copy(update={"friction_mm": 0.0})


def unit(**changes: float) -> VirtualUnit:
    return VirtualUnit.model_validate(TEAL_82.model_dump() | changes)


def rising(of: VirtualUnit, at_mm: float, power: Power | None = None) -> float:
    found = rising_c(of, at_mm, power or Power())
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("at_mm", "c", "mm_per_k"),
    [(0.1, 82.1, 0.34), (1, 84.3, 0.47), (4, 89.2, 0.72), (8, 95.1, 0.56), (10, 99.7, 0.32)],
)
def test_static_curve(at_mm: float, c: float, mm_per_k: float) -> None:
    assert rising(BARE, at_mm) == pytest.approx(c, abs=0.1)
    slope = (volume_lift_mm(BARE, c + 0.05) - volume_lift_mm(BARE, c - 0.05)) / 0.1
    assert slope == pytest.approx(mm_per_k, abs=0.02)


def test_lift_by_hand() -> None:
    """At the melting point half is liquid: 1.3 g * (1.1308 + 1.2552) / 2 = 1550.9 mm3."""
    assert volume_lift_mm(BARE, 90.0) == pytest.approx((1550.9 - 1485.0) / 14.522, abs=0.005)


@pytest.mark.parametrize(
    ("more_mg", "shift_k"), [(5, -1.3), (10, -2.9), (20, -8.5), (-10, 2.0), (-20, 3.6)]
)
def test_start_moves_with_the_wax(more_mg: float, shift_k: float) -> None:
    shifted = rising(unit(friction_mm=0.0, wax_mg=1300.0 + more_mg), 0.1)
    assert shifted - rising(BARE, 0.1) == pytest.approx(shift_k, abs=0.2 if more_mg > 15 else 0.06)


@pytest.mark.parametrize(("at_mm", "shift_k"), [(0.1, 0.29), (1, 0.21), (4, 0.14), (8, 0.18)])
def test_temperatures_move_with_the_setting(at_mm: float, shift_k: float) -> None:
    """0.1 mm over the slope there by hand; 0.11 to 0.33 K over the stroke."""
    moved = rising(unit(setting_mm=-0.1), at_mm) - rising(TEAL_82, at_mm)
    assert moved == pytest.approx(shift_k, abs=0.015)


def test_friction_delays_the_start_by_half_its_width_over_the_slope() -> None:
    wide = unit(friction_mm=0.08)
    assert rising(wide, 0.1) - rising(BARE, 0.1) == pytest.approx(0.04 / 0.35, abs=0.003)
    assert rising_c(wide, 0.1, friction=False) == pytest.approx(rising(BARE, 0.1), abs=1e-6)


def test_hysteresis_is_the_play_and_the_friction() -> None:
    assert hysteresis_k(BARE, 4.0) == pytest.approx(2.5, abs=1e-6)
    assert hysteresis_k(unit(friction_mm=0.1), 4.0) == pytest.approx(2.5 + 0.1 / 0.72, abs=0.003)
    closing_c = falling_c(BARE, 0.1)
    assert closing_c == pytest.approx(rising(BARE, 0.1) - 2.5, abs=1e-6)


@pytest.mark.parametrize(("power_w", "shift_k"), [(9.6, -18.4), (12.2, -23.3)])
def test_power_pulls_the_start_down(power_w: float, shift_k: float) -> None:
    """Closed form: the shift is the power times R_th = 1/0.8 + 1/1.5 = 1.9 K/W."""
    moved = rising(TEAL_82, 0.1, Power(w=power_w)) - rising(TEAL_82, 0.1)
    assert moved == pytest.approx(shift_k, abs=0.1)
    assert shift_k_per_w(TEAL_82, 0.1, Power(w=power_w)) == pytest.approx(-1.9167, abs=1e-3)


def test_current_meets_the_warm_resistance() -> None:
    """Without a temperature coefficient P = I2 R25 exactly; with one the core's heat counts."""
    assert element_w(unit(heater_per_k=0.0), 80.0, Power(a=0.8)) == pytest.approx(9.6)
    core_c = 80.0 + 9.8 * (1 / 0.8 + 1 / 1.5)
    by_hand_w = 0.64 * 15.0 * (1.0 + 4e-4 * (core_c - 25.0))
    assert element_w(unit(heater_per_k=4e-4), 80.0, Power(a=0.8)) == pytest.approx(
        by_hand_w, abs=0.005
    )


def test_shells_keep_the_mean_resistance_and_are_hottest_in_the_core() -> None:
    plain, shelled = shells_c(TEAL_82, 70.0, 10.0), shells_c(unit(shells=5), 70.0, 10.0)
    assert sum(shelled) / 5 == pytest.approx(plain[0])
    assert shelled == sorted(shelled, reverse=True)


@pytest.mark.parametrize(("beyond_k", "least_k", "most_k"), [(3.0, 0.25, 0.5), (10.0, 0.45, 0.85)])
def test_line_in_power_misses_the_unpowered_start(
    beyond_k: float, least_k: float, most_k: float
) -> None:
    """Three shells and a film growing by 0.2 to 0.4 % per K: 0.3 to 0.7 K (engineering memory)."""
    shelled = unit(melting_c=114.5, shells=3, film_growth_per_k=0.003)
    true_c = rising(shelled, 0.1)
    points = [(w / 4, rising(shelled, 0.1, Power(w=w / 4))) for w in range(1, 49)]
    seen = [(w, c) for w, c in points if c <= true_c - beyond_k]
    mean_w, mean_c = (sum(p[i] for p in seen) / len(seen) for i in (0, 1))
    slope = sum((w - mean_w) * c for w, c in seen) / sum((w - mean_w) ** 2 for w, _ in seen)
    assert least_k < mean_c - slope * mean_w - true_c < most_k


def test_heater_assisted_type_opens_at_103() -> None:
    """The demonstration type Heron-103: 103 degC unpowered (its design value)."""
    assert rising(unit(melting_c=114.5), 0.1) == pytest.approx(103.0, abs=0.1)


def test_what_a_unit_never_reaches_is_none() -> None:
    blocked = true_unit(unit(stop_mm=5.0), rated_lift_mm=8.0, full_at_c=120.0)
    assert blocked.full_open_c is None
    assert blocked.full_lift_mm == 5.0
    assert lift_mm(TEAL_82, 60.0) == 0.0
    assert true_unit(unit(heater_ohm=0.0)).heater_ohm_at_25_c is None
