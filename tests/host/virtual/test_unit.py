"""The native unit: its lag, its hysteresis, its energy, and agreement with the true answers.

Lags and apparent hysteresis are an own computation from the stated model, done apart from this
code; the model's parameters are engineering memory, no source.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from proofbath.virtual.description import VirtualUnit
from proofbath.virtual.native import Floats, unit_response
from proofbath.virtual.population import draw_unit
from proofbath.virtual.truth import Power, falling_c, rising_c, shells_c

TEAL_82 = VirtualUnit(serial="T82-MODEL", station=1)
BARE = TEAL_82.model_copy(update={"friction_mm": 0.0})


def crossings(
    unit: VirtualUnit, at_mm: float, rate_k_per_min: float, step_s: float = 0.1, power_w: float = 0
) -> tuple[float, float]:
    """Bath temperatures of a lift on a ramp up, after a soak on the way down."""
    middle_c = rising_c(unit, at_mm, Power(w=power_w))
    assert middle_c is not None
    low_c, high_c = middle_c - 15.0, middle_c + 15.0
    up = np.arange(low_c, high_c, rate_k_per_min / 60.0 * step_s)
    bath_c = np.concatenate([up, np.full(round(1200 / step_s), high_c), up[::-1]])
    power = np.full_like(bath_c, power_w)
    lift_mm, _ = unit_response(unit.parameters(), bath_c, power, step_s=step_s)
    rising = interpolate(bath_c[: up.size], lift_mm[: up.size], at_mm)
    falling = interpolate(bath_c[-up.size :][::-1], lift_mm[-up.size :][::-1], at_mm)
    return rising, falling


def interpolate(bath_c: Floats, lift_mm: Floats, at_mm: float) -> float:
    i = int(np.argmax(lift_mm >= at_mm))
    share = (at_mm - lift_mm[i - 1]) / (lift_mm[i] - lift_mm[i - 1])
    return float(bath_c[i - 1] + share * (bath_c[i] - bath_c[i - 1]))


@pytest.mark.parametrize(("at_mm", "late_k"), [(0.1, 0.37), (1, 0.45), (4, 0.62), (8, 0.52)])
def test_ramp_of_one_kelvin_a_minute_reads_late(at_mm: float, late_k: float) -> None:
    rising, _ = crossings(BARE, at_mm, 1.0)
    true_c = rising_c(BARE, at_mm)
    assert true_c is not None
    assert rising - true_c == pytest.approx(late_k, abs=0.02)


@pytest.mark.parametrize(
    ("at_mm", "rate", "seen_k"), [(0.1, 1, 3.3), (4, 1, 3.8), (0.1, 5, 6.6), (4, 5, 8.4)]
)
def test_hysteresis_reads_wide_at_speed(at_mm: float, rate: float, seen_k: float) -> None:
    rising, falling = crossings(BARE, at_mm, rate)
    assert rising - falling == pytest.approx(seen_k, abs=0.1)


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("shells", [1, 4])
def test_very_slow_ramp_meets_the_true_answers(seed: int, shells: int) -> None:
    """Two independent codes, C++ in time and Python in closed form, within 0.01 K."""
    type_unit = TEAL_82.model_copy(update={"shells": shells, "film_growth_per_k": 0.003})
    drawn = draw_unit(np.random.default_rng(seed), type_unit, "T82-1", 1)
    still = drawn.model_copy(update={"start_scatter_k": 0.0})
    for at_mm, power_w in [(0.1, 0.0), (4.0, 6.0)]:
        seen = crossings(still, at_mm, 0.008, step_s=0.5, power_w=power_w)
        power = Power(w=power_w)
        for seen_c, true_c in zip(
            seen, (rising_c(still, at_mm, power), falling_c(still, at_mm, power)), strict=True
        ):
            assert seen_c == pytest.approx(true_c, abs=0.01)


FILM_LAWS: dict[str, tuple[dict[str, float], float]] = {
    # 9 W through a film of 1.5 W/K; the cup's excess by hand, a closed form a law.
    "constant": ({}, 9 / 1.5),
    "grows 5 % a kelvin of excess": (
        {"film_excess_per_k": 0.05},
        (math.sqrt(1 + 4 * 0.05 * 6) - 1) / (2 * 0.05),
    ),
    "falls 5 % a kelvin of excess": ({"film_excess_per_k": -0.05}, 6 / (1 - 0.05 * 6)),
    "excess to the 0.25": ({"film_exponent": 0.25}, 5 * (9 / (5 * 1.5)) ** (1 / 1.25)),
    "excess to the 0.1": ({"film_exponent": 0.1}, 5 * (9 / (5 * 1.5)) ** (1 / 1.1)),
    "a third into the cup": ({"cup_power_share": 1 / 3}, 9 / 1.5),
}


@pytest.mark.parametrize("law", FILM_LAWS)
def test_each_film_law_settles_where_its_closed_form_says(law: str) -> None:
    """Steady heat balance by hand: 9 W cross the film, and what enters the core the wax too."""
    changed, excess_k = FILM_LAWS[law]
    unit = TEAL_82.model_copy(update=changed)
    bath_c = np.full(20_000, 60.0)
    _, wax_c = unit_response(unit.parameters(), bath_c, np.full_like(bath_c, 9.0), step_s=0.1)
    steady_c = 60.0 + excess_k + 9.0 * (1 - unit.cup_power_share) / 0.8
    assert wax_c[-1] == pytest.approx(steady_c, abs=1e-3)
    assert shells_c(unit, 60.0, 9.0) == pytest.approx([steady_c], abs=1e-6)


def test_the_core_share_spreads_the_shells_and_keeps_their_mean() -> None:
    """By hand: 8 W over 1.25 K/W on average; 0.6 of it between three shells is 6 K a step."""
    unit = TEAL_82.model_copy(update={"shells": 3, "core_share": 0.6})
    assert shells_c(unit, 60.0, 8.0) == pytest.approx([76 - 0.6667 + n for n in (6, 0, -6)], 1e-5)
    bath_c = np.full(30_000, 60.0)
    _, wax_c = unit_response(unit.parameters(), bath_c, np.full_like(bath_c, 8.0), step_s=0.1)
    assert wax_c[-1] == pytest.approx(60 + 8 / 1.5 + 8 / 0.8, abs=1e-3)


@pytest.mark.parametrize(
    "law",
    [
        {"film_excess_per_k": 0.05},
        {"film_excess_per_k": -0.05},
        {"film_exponent": 0.25},
        {"core_share": 0.6, "cup_power_share": 0.3},
    ],
)
def test_a_slow_ramp_under_power_meets_the_true_start_of_each_law(law: dict[str, float]) -> None:
    """Two independent codes, C++ in time and Python in closed form, within 0.01 K."""
    unit = TEAL_82.model_copy(update={"shells": 3, **law})
    seen_c, _ = crossings(unit, 0.1, 0.008, step_s=0.5, power_w=6.0)
    assert seen_c == pytest.approx(rising_c(unit, 0.1, Power(w=6.0)), abs=0.01)


def test_heat_put_in_is_heat_found() -> None:
    """Energy by hand: sensible heat of wax, copper and cup, latent heat of what has melted."""
    unit = TEAL_82.model_copy(
        update={"cup_j_per_k": 0.1, "film_w_per_k": 0.005, "wax_w_per_k": 10.0}
    )
    seconds, power_w = 40.0, 10.0
    bath_c = np.full(round(seconds / 0.025), 75.0)
    _, wax_c = unit_response(unit.parameters(), bath_c, np.full_like(bath_c, power_w), step_s=0.025)
    lost_j = 0.005 * float(np.sum(wax_c - 75.0)) * 0.025
    melted = [1.0 / (1.0 + math.exp((90.0 - c) / 4.2)) for c in (75.0, wax_c[-1])]
    sensible_j = (1.3 * 2.3 + 0.9 * 0.385 + 0.1) * (wax_c[-1] - 75.0)
    latent_j = 1.3 * 190.0 * (melted[1] - melted[0])
    assert sensible_j + latent_j + lost_j == pytest.approx(seconds * power_w, rel=0.003)
    assert melted[1] > 0.5


def test_within_the_play_no_latent_heat_is_asked_for() -> None:
    """Cooling from the middle of the melt: at once the time constant outside it, near 6 + 4 s."""
    unit = BARE.model_copy(update={"play_k": 10.0})
    bath_c = np.concatenate([np.full(20, 90.0), np.full(2000, 89.0)])
    lift_mm, wax_c = unit_response(unit.parameters(), bath_c, step_s=0.1)
    reached_s = float(np.argmax(wax_c < 90.0 - 0.632)) * 0.1 - 2.0
    assert reached_s == pytest.approx(1.917 * 3.34 + 5.8 / 1.5, abs=1.5)
    assert np.ptp(lift_mm) < 1e-9


@pytest.mark.parametrize("step_s", [0.025, 1.0, 60.0])
def test_any_step_is_stable(step_s: float) -> None:
    light = TEAL_82.model_copy(update={"cup_j_per_k": 0.1, "wax_w_per_k": 10.0, "shells": 8})
    bath_c = np.full(2000, 85.0)
    bath_c[0] = 20.0
    _, wax_c = unit_response(light.parameters(), bath_c, step_s=step_s)
    assert np.all(np.diff(wax_c) >= -1e-9)
    assert wax_c.max() <= 85.0 + 1e-9


def test_start_scatters_from_cycle_to_cycle_as_described() -> None:
    unit = BARE.model_copy(update={"start_scatter_k": 0.2})
    up = np.arange(70.0, 95.0, 0.02)
    cycles = 120
    bath_c = np.tile(np.concatenate([up, up[::-1]]), cycles)
    lift_mm, _ = unit_response(unit.parameters(), bath_c, step_s=1.0, seed=5)
    starts = [interpolate(up, lift_mm[i * 2 * up.size :][: up.size], 0.1) for i in range(cycles)]
    assert np.std(starts) == pytest.approx(0.2, rel=3 / math.sqrt(2 * cycles))


def test_unknown_parameter_and_unequal_records_are_refused() -> None:
    bath_c = np.full(3, 50.0)
    with pytest.raises(ValueError, match="wax_kg"):
        unit_response({"wax_mg": 1300.0, "wax_kg": 1.0}, bath_c, step_s=0.1)
    with pytest.raises(ValueError, match="same length"):
        unit_response({}, bath_c, np.zeros(2), step_s=0.1)
