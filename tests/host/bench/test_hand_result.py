"""What typed readings say, against valves of known curve and the GUM's own examples."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest

from host.bench.hand_pot import COARSE_C, rise, setup, straight
from proofbath.curve.budget import Contribution
from proofbath.curve.hand_instruments import LIFT_TOOLS, THERMOMETERS, Heater
from proofbath.curve.hand_record import HandPoint, rises_of
from proofbath.curve.hand_result import analyse_hand
from proofbath.curve.hand_start import Start, evenly, find_start, reading_u
from proofbath.curve.result import Quantity
from proofbath.virtual.description import VirtualUnit
from proofbath.virtual.truth import lift_mm, rising_c


def share(contributions: Sequence[Contribution], name: str) -> float:
    (found,) = [abs(item.share) for item in contributions if item.name == name]
    return found


def value(quantity: Quantity) -> float:
    assert quantity.value is not None, quantity.reason
    return quantity.value


def expanded(quantity: Quantity) -> float:
    assert quantity.expanded_uncertainty is not None
    return quantity.expanded_uncertainty


def test_what_liesevenlyly_between_bounds_is_counted_as_the_gum_does() -> None:
    """JCGM 100:2008, 4.3.7 example 1: within 0.40e-6 either way gives 0.23e-6; F.2.2.1: 0.29 d."""
    assert evenly("copper", 0.40).share == pytest.approx(0.23, abs=0.002)
    assert reading_u(0.0, 1.0) == pytest.approx(0.29, abs=0.002)


def test_start_between_coarse_readings_by_hand() -> None:
    """0.3 mm/K from 82 °C on, read every 2 K: 0 mm at 82, 0.6 mm at 84.

    The chord meets 0.1 mm at 82 + 2 / 6 = 82.333; the middle to 84 is 83.167. At 1 K/min a wax
    23 s and a thermometer 6 s late are 17 / 60 K apart. Evenly spread: (84 - 82.333) / 2 / sqrt 3.
    """
    (only,) = rises_of(rise(straight(82.0), COARSE_C))
    found = find_start(only, setup())
    assert isinstance(found, Start)
    assert found.value_c == pytest.approx(83.1667 - 17 / 60, abs=1e-3)
    assert found.rate_k_per_min == pytest.approx(1.0)
    assert share(found.own, "between two readings") == pytest.approx(0.4811, abs=1e-4)
    assert share(found.shared, "thermometer") == pytest.approx(0.25)


def test_reading_closer_together_makes_the_start_more_certain() -> None:
    fine_c = [70.0, 74.0, 78.0, *np.arange(80.0, 88.0, 0.5)]
    coarse = analyse_hand(rise(straight(82.0), COARSE_C), setup()).start_to_open_c
    fine = analyse_hand(rise(straight(82.0), fine_c), setup()).start_to_open_c
    true_c = 82.0 + 0.1 / 0.3 - 17 / 60
    assert abs(value(fine) - true_c) < 0.15 < abs(value(coarse) - true_c)
    assert expanded(fine) < expanded(coarse)
    assert abs(value(coarse) - true_c) < expanded(coarse)


@pytest.mark.parametrize(("kind", "least_u_k"), [("resistance", 0.5), ("infrared", 5.0)])
def test_no_result_is_better_than_its_thermometer(kind: str, least_u_k: float) -> None:
    made = setup(thermometer=next(k for k in THERMOMETERS if k == kind))
    result = analyse_hand(rise(straight(82.0), list(np.arange(70.0, 88.0, 0.5))), made)
    assert expanded(result.start_to_open_c) > least_u_k * 0.98  # k = 2 against 1.96
    assert [w.code for w in result.warnings] == (["infrared"] if kind == "infrared" else [])


def test_intervals_hold_on_elements_of_known_curve() -> None:
    """300 pots read every 0.5 to 3 K: the true start lies inside U in at least 95 of 100.

    The truth is the element model's closed form; errors are drawn as the setup states them, and
    the wax follows 22 s late at its start (own computation from the element model).
    """
    rng = np.random.default_rng(61)
    unit = VirtualUnit(serial="T82-MODEL", station=1)
    grid_c = np.arange(60.0, 100.0, 0.25)
    grid_mm = [lift_mm(unit, c) for c in grid_c]
    true_c = rising_c(unit, 0.1)
    assert true_c is not None
    off, inside = list[float](), 0
    for _ in range(300):
        made, step_k, rate = setup(), rng.uniform(0.5, 3.0), rng.uniform(0.5, 3.0)
        baths = np.arange(66.0 + rng.uniform(0, 3), 92.0, step_k)
        place_k = rng.normal(0, 0.25) + rng.uniform(-0.4, 0.4)
        points = []
        for number, bath_c in enumerate(baths):
            wax_c = bath_c + place_k - rate / 60 * (22 - 6 + rng.uniform(-10, 10))
            opened = float(np.interp(wax_c, grid_c, grid_mm)) + rng.normal(0, 0.025)
            t_s = 60 * step_k * number / rate
            points.append(HandPoint(t_s, round(bath_c, 1), round(opened + 3.0, 2)))
        start = analyse_hand(points, made).start_to_open_c
        if start.value is not None:
            off.append(start.value - true_c)
            inside += abs(off[-1]) <= expanded(start)
    assert len(off) >= 294, "a caliper's noise rarely hides that the valve is shut"
    assert inside >= 0.95 * len(off)
    assert abs(float(np.mean(off))) < 0.3
    assert float(np.std(off)) > 0.2, "the errors drawn are real ones"


def heated(second_a: float = 0.8, volt: float = 12.2) -> list[HandPoint]:
    """Without current from 82 °C on, with it 19 K earlier; both between readings alike."""
    cold = rise(straight(82.0), [70.0, 74.0, 78.0, 80.0, 82.0, 84.0, 86.0])
    begins_s = cold[-1].t_s + 3600
    baths_c = [51.0, 55.0, 59.0, 61.0, 63.0, 65.0, 67.0]
    return cold + rise(straight(63.0), baths_c, 1.0, begins_s, second_a, volt)


def test_heater_shift_by_hand() -> None:
    """0.8 A at 12.2 V less 0.2 ohm of leads: 9.76 - 0.128 = 9.632 W; -19 K make -1.9726 K/W."""
    result = analyse_hand(heated(), setup(heater=Heater()))
    ((driven, start, shift),) = result.heater
    assert driven.power_w == pytest.approx(9.632, abs=1e-6)
    assert value(start) == pytest.approx(value(result.start_to_open_c) - 19.0)
    assert value(shift) == pytest.approx(-19.0)
    assert value(result.shift_k_per_w) == pytest.approx(-19.0 / 9.632, rel=1e-6)
    u_w = math.hypot(9.76 * 0.01 * math.sqrt(2), 0.64 * 0.1)  # 1 % of each, 0.1 ohm of leads
    by_power = share(result.shift_k_per_w.contributions, "power")
    assert by_power == pytest.approx(19.0 * u_w / 9.632**2, rel=1e-6)
    gap_k = share(shift.contributions, "between two readings")
    assert gap_k == pytest.approx(0.4811 * math.sqrt(2), abs=1e-4)


def test_power_without_a_voltage_needs_the_elements_resistance() -> None:
    """0.8 A through 15 ohm are 9.6 W."""
    points = heated(volt=math.nan)
    unknown = analyse_hand(points, setup(heater=Heater())).shift_k_per_w
    assert unknown.value is None
    assert "give --element-ohm, or type the volts" in (unknown.reason or "")
    known = analyse_hand(points, setup(heater=Heater(element_ohm=15.0))).shift_k_per_w
    assert value(known) == pytest.approx(-19.0 / 9.6)


def test_two_powers_give_the_shift_where_the_unit_does_not_open_without() -> None:
    points = [point for point in heated() if point.bath_c < 81.0 or point.element_a]
    stronger = rise(straight(58.25), [46.25, 50.25, 54.25, 56.25, 58.25, 60.25], 1.0, 9e3, 0.9, 14)
    result = analyse_hand(points + stronger, setup(heater=Heater()))
    assert result.start_to_open_c.value is None
    assert "do not enclose" in (result.start_to_open_c.reason or "")
    assert all(shift.value is None for _, _, shift in result.heater)
    # 0.9 A at 14 V less the leads: 12.438 W; 4.75 K for 2.806 W more.
    assert value(result.shift_k_per_w) == pytest.approx(-4.75 / (12.438 - 9.632), rel=1e-3)


def test_several_rises_count_as_their_mean() -> None:
    once = rise(straight(82.0), COARSE_C)
    twice = once + rise(straight(82.0), COARSE_C, 1.0, 3600.0)
    one, two = (analyse_hand(points, setup()) for points in (once, twice))
    assert two.rises == 2
    assert value(two.start_to_open_c) == pytest.approx(value(one.start_to_open_c))
    gaps = [share(r.start_to_open_c.contributions, "between two readings") for r in (one, two)]
    assert gaps[1] == pytest.approx(gaps[0] / math.sqrt(2))


@pytest.mark.parametrize(
    ("baths_c", "words"),
    [
        ([70.0, 74.0, 78.0, 81.0], "do not enclose the start: the last lift is 0.00 mm at 81.0"),
        ([83.0, 84.0, 86.0, 88.0], "begin colder"),
        ([81.0, 81.5, 83.0, 86.0], "two or more over 2 K"),
        ([80.0, 81.0], "no heating of 3 K"),
    ],
)
def test_what_the_readings_do_not_carry_is_null_with_its_reason(
    baths_c: list[float], words: str
) -> None:
    start = analyse_hand(rise(straight(82.0), baths_c), setup()).start_to_open_c
    assert start.value is None
    assert words in (start.reason or "")


def test_readings_all_typed_at_once_tell_no_rate() -> None:
    points = [point._replace(t_s=5.0) for point in rise(straight(82.0), COARSE_C)]
    start = analyse_hand(points, setup()).start_to_open_c
    assert (start.value, "limit 15 K/min" in (start.reason or "")) == (None, True)


def test_hurry_gaps_and_still_water_are_said() -> None:
    result = analyse_hand(rise(straight(82.0), COARSE_C, 4.0), setup(stirred=False))
    assert {w.code for w in result.warnings} == {"not_stirred", "fast", "wide_gap"}
    calm = analyse_hand(rise(straight(82.0), COARSE_C), setup()).start_to_open_c
    assert expanded(result.start_to_open_c) > 2 * expanded(calm)


def test_a_ruler_is_worse_than_a_caliper() -> None:
    points = rise(straight(82.0), list(np.arange(70.0, 90.0, 0.5)))
    fine, rough = (analyse_hand(points, setup(tool=t)).start_to_open_c for t in LIFT_TOOLS if t in
                   ("caliper", "ruler"))  # fmt: skip
    assert expanded(rough) > expanded(fine) + 1.0


def test_the_object_says_that_it_was_measured_by_hand() -> None:
    told = analyse_hand(heated(), setup(heater=Heater())).to_json()
    assert (told["kind"], told["certified"]) == ("hand measured", False)
    assert told["start_to_open_c"]["rate"] == "zero"
    assert told["start_to_open_c"]["at"] == {"lift_mm": 0.1}
    assert told["heater"][0]["shift_k"]["value"] == pytest.approx(-19.0)
    assert told["setup"]["thermometer"]["expanded_u_k"] == 0.5


def test_the_curve_by_hand_is_stated_at_the_levels_that_readings_enclose() -> None:
    """0.3 mm/K from 82 °C on, read every half K to 91.5 °C, where 2.85 mm are open.

    Between two readings nobody knows: the value is their middle, u a quarter K over root 3.
    """
    fine_c = [70.0, 74.0, 78.0, *np.arange(80.0, 91.6, 0.5)]
    result = analyse_hand(rise(straight(82.0), fine_c), setup())
    stated = {one.threshold_mm: one for one in result.opening_at_lift_c}
    assert set(stated) == {0.5, 1.0, 1.5, 2.0, 2.5}
    for lift, one in stated.items():
        assert lift is not None
        true_c = 82.0 + lift / 0.3 - 17 / 60
        assert value(one) == pytest.approx(true_c, abs=0.25 + 1e-6)
        assert share(one.contributions, "between two readings") == pytest.approx(
            0.25 / math.sqrt(3)
        )
    kept = result.to_json()["opening_at_lift_c"]
    assert [part["at"]["lift_mm"] for part in kept] == list(stated)


def test_a_curve_by_hand_without_a_start_states_no_level() -> None:
    result = analyse_hand(rise(straight(120.0), COARSE_C), setup())
    assert result.opening_at_lift_c == ()
