"""How long heater and elements are on by the plan, and where the controller stops them."""

from __future__ import annotations

import math

import pytest

from host.simple_bath import WORKSHOP
from proofbath.control.bath_model import BathModel
from proofbath.run.on_times import on_times
from proofbath.run.profile import Drive, Energise, Hold, Leg, Loading, PowerRamp, Ramp, Soak, Step

PLAIN_BATH = BathModel(
    heat_capacity_j_per_k=30_000,
    loss_w_per_k=2.0,
    ambient_c=20.0,
    heater_w=1500.0,
    dead_time_s=5.0,
    heater_lag_s=10.0,
)
FED = Loading(max_a=(1.0, 1.0, 0.0, 0.0, 0.0, 0.0), ohm=(12.0,) * 6)


def legs(*steps: Step, loading: Loading = FED) -> tuple[Leg, ...]:
    at_c, made = math.nan, []
    for step in steps:
        at_c = getattr(step, "to_c", getattr(step, "until_c", at_c))
        made.append(Leg(step, at_c, loading=loading))
    return tuple(made)


def test_heat_for_a_rise_a_hold_and_a_fall_by_hand() -> None:
    """Closed form: energy in the bath and lost on the way, over the heater's power."""
    plan = legs(
        Soak(to_c=70, at_least_s=600, at_most_s=1800, rate_k_per_min=1.0),
        Ramp(to_c=90, rate_k_per_min=1.0),
        Hold(for_s=900),
        # 2 W/K x 60 K of loss over 30 kJ/K is 0.24 K/min: the bath falls by itself, no heat.
        Ramp(to_c=80, rate_k_per_min=1.0),
    )
    rise_j = 30_000 * 70 + 2.0 * 35.0 * 70 * 60  # 20 to 90 °C, 35 K above the room on the mean
    soak_j, hold_j = 600 * 2.0 * 50, 900 * 2.0 * 70
    found = on_times(plan, PLAIN_BATH)
    assert found.heater_s == pytest.approx((rise_j + soak_j + hold_j) / 1500, rel=1e-3)
    # Twice that, the soak's waiting and half an hour, in whole minutes.
    waits_s = 1200 * 2.0 * 50 / 1500
    assert found.heater_limit_s % 60 == 0
    assert 0 <= found.heater_limit_s - (2 * found.heater_s + waits_s + 1800) < 60


def test_a_slow_fall_takes_the_loss_that_the_fall_does_not_give() -> None:
    plan = legs(Soak(to_c=90, at_least_s=1, at_most_s=1), Ramp(to_c=80, rate_k_per_min=0.1))
    without = legs(Soak(to_c=90, at_least_s=1, at_most_s=1))
    slow_s = on_times(plan, PLAIN_BATH).heater_s - on_times(without, PLAIN_BATH).heater_s
    # 6000 s at a mean loss of 2 W/K x 65 K, less 10 K of the bath's own heat.
    assert slow_s == pytest.approx((6000 * 130 - 30_000 * 10) / 1500, rel=1e-3)


def test_a_driven_heater_counts_by_its_duty_and_its_longest_time_for_the_limit() -> None:
    plan = legs(Drive(duty=0.5, for_s=3600, until_c=40.0))
    found = on_times(plan, PLAIN_BATH)
    assert found.heater_s < 0.5 * 3600
    assert found.heater_limit_s >= 0.5 * 3600 + 1800


def test_elements_add_up_where_they_are_fed_without_a_break() -> None:
    plan = legs(
        Soak(to_c=80),
        Energise(element_a=0.5, at_most_s=600),
        Energise(element_a=0.8, at_most_s=300, stations=[1]),
        Hold(for_s=60),
        Energise(element_a=0.5, at_most_s=700),
    )
    found = on_times(plan, PLAIN_BATH)
    assert found.element_s == (900.0, 700.0, 0, 0, 0, 0)
    # A quarter more and two minutes: 1245 and 995 s, in whole minutes.
    assert found.element_limit_s == (1260, 1020, 0, 0, 0, 0)


def test_a_power_ramp_down_counts_from_the_power_before_it() -> None:
    plan = legs(
        Soak(to_c=80),
        Energise(element_a=1.0, at_most_s=100),  # 12 ohm: 12 W
        PowerRamp(to_w=24.0, rate_w_per_min=2.0),  # 12 min from nothing, 6 from 12 W
        PowerRamp(to_w=0.0, rate_w_per_min=1.0),
    )
    assert on_times(plan, PLAIN_BATH).element_s[0] == 100 + 12 * 60 + 24 * 60


def test_a_bath_that_cannot_get_there_is_beyond_any_limit() -> None:
    weak = WORKSHOP.model_copy(update={"heater_w": 100.0})
    assert on_times(legs(Soak(to_c=97)), weak).heater_limit_s > 14 * 3600


def test_a_type_without_heater_may_not_be_fed_at_all() -> None:
    plain = Loading(max_a=(0.0,) * 6)
    found = on_times(legs(Soak(to_c=80), Hold(for_s=60), loading=plain), PLAIN_BATH)
    assert found.element_limit_s == (0,) * 6
