"""Plans that must not heat are refused before heat, with every fault at once."""

from __future__ import annotations

import re

import pytest

from host.run.workshop import HERON_103, TEAL_82
from host.simple_bath import WORKSHOP
from proofbath.control.boiling import Coolant
from proofbath.description import parse_toml
from proofbath.errors import InputError
from proofbath.run.check import BenchFacts, CheckedPlan, check_plan
from proofbath.run.forecast import forecast, seconds_until
from proofbath.run.plan import NightPlan
from proofbath.run.profile import ElementCheck, Leg, PowerRamp

GLYCOL = Coolant(glycol="propylene", share_by_volume=0.5)
FACTS = BenchFacts(stations=6, boiling_c=GLYCOL.boiling_c(101.325), model=WORKSHOP)
PLAN = """
batch = "ferry-7"
profile = "plain-as-left"
[unit_type]
name = "Teal-82"
nominal_start_to_open_c = 82
full_open_c = 95
full_lift_mm = 8
cap_c = 104
[[station]]
station = 1
serial = "T82-0101"
[[station]]
station = 6
serial = "REF-1"
role = "reference"
"""
STEP = """
[[step]]
kind = "soak"
to_c = 60
[[step]]
kind = "ramp"
to_c = {to_c}
rate_k_per_min = {rate}
at_most_bath_limit = {at_most}
"""


def checked(text: str, facts: BenchFacts = FACTS) -> CheckedPlan:
    return check_plan(parse_toml(text, NightPlan, "plan.toml"), facts)


def own_steps(to_c: float = 97.0, rate: float = 1.0, at_most: str = "false") -> str:
    return PLAN.replace('profile = "plain-as-left"', "") + STEP.format(
        to_c=to_c, rate=rate, at_most=at_most
    )


def refused(text: str, facts: BenchFacts = FACTS) -> tuple[str, ...]:
    with pytest.raises(InputError) as caught:
        checked(text, facts)
    assert all("\n" not in fault for fault in caught.value.faults)
    return caught.value.faults


def test_a_good_plan_has_no_warning_and_a_nights_length() -> None:
    plan = checked(PLAN)
    assert plan.warnings == ()
    assert 8.0 < plan.expected_s / 3600.0 < 14.0


def test_a_profile_fixedly_above_the_bath_limit_is_refused() -> None:
    (fault,) = refused(own_steps(to_c=103.9))
    assert "bath's limit" in fault


def test_a_step_that_may_be_clipped_is_clipped_with_a_warning() -> None:
    water = BenchFacts(6, Coolant(glycol="none").boiling_c(101.325), WORKSHOP)
    plan = checked(own_steps(to_c=99.0, at_most="true"), water)
    assert plan.legs[1].to_c == pytest.approx(96.97, abs=0.01)  # 3 K below 99.97 °C, IAPWS-IF97
    assert any("clipped" in warning for warning in plan.warnings)


@pytest.mark.parametrize("whose", ["unit", "reference"])
def test_beyond_any_loaded_units_cap_is_refused(whose: str) -> None:
    text = own_steps(to_c=101.0)
    low = text.replace("cap_c = 104", "cap_c = 100")
    if whose == "reference":
        table = low[low.index("[unit_type]") : low.index("[[station]]")]
        low = text + table.replace("[unit_type]", "[reference_type]")
    faults = refused(low)
    assert any("cap 100.0" in fault and "REF-1" in fault for fault in faults)
    assert any("T82-0101" in fault for fault in faults) == (whose == "unit")


def test_duplicates_and_absent_stations_are_all_named_at_once() -> None:
    text = PLAN.replace("station = 6", "station = 1").replace("REF-1", "T82-0101")
    faults = refused(text)
    assert any(fault.startswith("station 1: loaded 2") for fault in faults)
    assert any(fault.startswith("serial T82-0101") for fault in faults)
    assert any("this bench has 2" in fault for fault in refused(PLAN, FACTS._replace(stations=2)))


def test_a_rate_the_bath_cannot_do_is_refused_with_the_one_it_can() -> None:
    (fault,) = refused(own_steps(rate=4.0))
    said = re.search(r"more than the ([\d.]+) K/min attainable", fault)
    assert said
    # By hand: losses at 97 °C 1.8 * 75 + 90 * 91.2/70.2 = 252 W; 60 * (1500 - 252) / 31000.
    assert float(said[1]) == pytest.approx(2.415, abs=0.01)


def test_a_fall_may_ask_for_more_than_the_bath_can() -> None:
    text = own_steps() + '[[step]]\nkind = "ramp"\nto_c = 44\nrate_k_per_min = 1.0\n'
    assert checked(text).legs[-1].to_c == 44.0


def test_a_temperature_the_heater_cannot_keep_is_refused() -> None:
    weak = FACTS._replace(model=WORKSHOP.model_copy(update={"heater_w": 240.0}))
    assert any("of the heater" in fault for fault in refused(own_steps(rate=0.01), weak))


def test_below_ambient_is_refused() -> None:
    text = own_steps() + '[[step]]\nkind = "ramp"\nto_c = 20\nrate_k_per_min = 1.0\n'
    assert any("cannot be reached by cooling" in fault for fault in refused(text))


def test_as_found_refuses_a_conditioning_cycle() -> None:
    text = PLAN.replace('batch = "ferry-7"', 'batch = "ferry-7"\nstage = "as-found"')
    assert any("the first cycle is the finding" in fault for fault in refused(text))
    assert checked(text.replace("as-left", "as-found")).warnings == ()


def test_a_plan_that_begins_with_a_hold_is_refused() -> None:
    text = PLAN.replace('profile = "plain-as-left"', "") + '[[step]]\nkind = "hold"\nfor_s = 9\n'
    assert any("begin with a soak" in fault for fault in refused(text))


def test_neither_or_both_profile_and_steps_are_refused() -> None:
    for text in (
        PLAN.replace('profile = "plain-as-left"', ""),
        PLAN + STEP.format(to_c=90, rate=1, at_most="false"),
    ):
        with pytest.raises(InputError, match="either profile"):
            parse_toml(text, NightPlan, "plan.toml")


def test_a_reference_that_opens_beyond_the_bath_is_refused() -> None:
    plan = parse_toml(PLAN, NightPlan, "plan.toml").model_copy(update={"reference_type": HERON_103})
    water = BenchFacts(6, Coolant(glycol="none").boiling_c(101.325), WORKSHOP)
    with pytest.raises(InputError, match="opens unpowered below"):
        check_plan(plan, water)


def test_no_reference_and_a_hot_end_are_warned_of() -> None:
    warnings = checked(own_steps().replace('role = "reference"', "")).warnings
    assert any("no reference unit" in warning for warning in warnings)
    assert any("scald" in warning for warning in warnings)


def test_types_loaded_leave_a_blank_out() -> None:
    plan = parse_toml(PLAN.replace('"reference"', '"blank"'), NightPlan, "plan.toml")
    assert plan.types_loaded() == [("T82-0101", TEAL_82)]


def assisted(steps: str) -> str:
    table = """
kind = "heater-assisted"
element_max_a = 0.9
element_ohm = 15
cap_c = 108"""
    text = PLAN.replace('profile = "plain-as-left"', "").replace("cap_c = 104", table.strip())
    reference = PLAN[PLAN.index("[unit_type]") : PLAN.index("[[station]]")]
    return text + reference.replace("[unit_type]", "[reference_type]") + steps


SOAK = '[[step]]\nkind = "soak"\nto_c = 60\n'
CURRENT = '[[step]]\nkind = "energise"\nelement_a = {a}\n'
POWER = '[[step]]\nkind = "power"\nto_w = {w}\nrate_w_per_min = 1\n'


def test_only_units_with_an_element_heater_are_fed() -> None:
    loading = checked(assisted(SOAK + CURRENT.format(a=0.5))).legs[0].loading
    assert loading.loaded == (True, False, False, False, False, True)
    assert loading.max_a == (0.9, 0.0, 0.0, 0.0, 0.0, 0.0)
    assert loading.ohm[0] == 15.0


@pytest.mark.parametrize(
    ("steps", "said"),
    [
        (SOAK + CURRENT.format(a=0.5) + CURRENT.format(a=0.4), "only upwards"),
        (SOAK + CURRENT.format(a=1.0), "0.90 A"),
        (SOAK + POWER.format(w=13), "0.93 A is more than"),  # sqrt(13 W / 15 ohm)
        (CURRENT.format(a=0.5), "begin with a soak"),
    ],
)
def test_currents_that_must_not_flow_are_refused(steps: str, said: str) -> None:
    assert any(said in fault for fault in refused(assisted(steps)))


def test_a_power_ramp_down_and_another_bath_allow_lower_currents_again() -> None:
    steps = SOAK + CURRENT.format(a=0.5) + POWER.format(w=0)
    legs = checked(assisted(steps + SOAK.replace("60", "70") + CURRENT.format(a=0.4))).legs
    kinds = [leg.step.kind for leg in legs if leg.step.purpose != "check"]
    assert kinds == ["soak", "energise", "power", "soak", "energise"]


def test_plain_units_are_not_energised() -> None:
    steps = SOAK + CURRENT.format(a=0.5)
    faults = refused(PLAN.replace('profile = "plain-as-left"', "") + steps)
    assert any("no station it names has an element heater" in fault for fault in faults)


@pytest.mark.parametrize("name", ["heater-assisted-as-left", "heater-assisted-as-found"])
def test_shipped_powered_profiles_pass_the_check(name: str) -> None:
    text = assisted("").replace('batch = "ferry-7"', f'batch = "ferry-7"\nprofile = "{name}"')
    plan = checked(text.replace("nominal_start_to_open_c = 82", "nominal_start_to_open_c = 90", 1))
    # 12.1 W at 1 and 0.5 W/min up, at 1 W/min down, on four baths: 4 h of ramps alone.
    assert 4.0 < plan.ready_s / 3600.0 < 9.0
    two = checked(text.replace("[unit_type]", "[heated]\nbaths = 2\n[unit_type]", 1))
    # Two baths less are 2 h of ramps less.
    assert 1.9 < (plan.ready_s - two.ready_s) / 3600.0 < 3.0


def with_times(**times: str) -> str:
    lines = "".join(f'{key} = "{value}"\n' for key, value in times.items())
    return lines + "may_drop = [2, 1]\n" + PLAN


def test_times_are_counted_from_now_over_midnight() -> None:
    assert seconds_until("06:30", 18 * 3600.0) == 12.5 * 3600.0
    assert seconds_until("18:00", 17.5 * 3600.0) == 1800.0


def test_optional_cycles_are_dropped_in_their_order_until_the_night_fits() -> None:
    evening = FACTS._replace(now_s=18 * 3600.0)
    whole = checked(PLAN, evening)
    assert whole.ready_s < whole.cold_s <= whole.expected_s
    # One cycle less is enough an hour and a half before the whole would be ready.
    ready = 18 * 3600.0 + whole.ready_s - 5400.0
    text = with_times(ready_by=f"{int(ready // 3600) % 24:02d}:{int(ready % 3600 // 60):02d}")
    fitted = checked(text, evening)
    assert fitted.warnings == ("cycle 2 is left out to be ready in time",)
    assert {leg.step.cycle for leg in fitted.legs} == {0, 1, 3}


def test_a_night_too_short_even_then_is_refused_with_the_hours() -> None:
    faults = refused(with_times(cold_by="20:00"), FACTS._replace(now_s=18 * 3600.0))
    assert re.search(r"cold_by: a cold bath takes [\d.]+ h, there are 2.0 h", faults[0])


def test_a_cycle_that_cannot_be_dropped_because_it_is_not_there_is_a_fault() -> None:
    assert "no cycle 7" in refused("may_drop = [7]\n" + PLAN)[0]


def test_evaporation_must_be_covered_twice_above_the_level_switch() -> None:
    plan = checked(PLAN, FACTS._replace(above_switch_l=5.0))
    hours = plan.expected_s / 3600.0
    # All at 90 W would be 90 W * t / 2.28 MJ/kg; a night cools, so it is less.
    most_l = 90.0 * plan.expected_s / 2.28e6 / 0.965
    assert 0.3 * most_l < plan.fill_above_switch_l / 2.0 < most_l
    assert 8.0 < hours < 14.0
    evaporated_l = forecast(plan.legs, WORKSHOP).evaporated_l
    assert plan.fill_above_switch_l == pytest.approx(2.0 * evaporated_l)
    checked(PLAN, FACTS._replace(above_switch_l=2.01 * evaporated_l))
    refused(PLAN, FACTS._replace(above_switch_l=1.99 * evaporated_l))
    (fault,) = refused(PLAN, FACTS._replace(above_switch_l=0.3))
    assert f"fill to {plan.fill_above_switch_l:.1f} l" in fault


POWERED_BY_SUPPLY = (
    """
batch = "ferry-9"
profile = "heater-assisted-as-found"
[unit_type]
name = "Heron-103"
kind = "heater-assisted"
nominal_start_to_open_c = 103
full_open_c = 116
full_lift_mm = 9
cap_c = 110
element_max_a = 0.95
element_ohm = 15.0
"""
    + "".join(f'[[station]]\nstation = {n}\nserial = "H{n}"\n' for n in (1, 2, 5))
)  # fmt: skip


def test_a_supply_serves_the_stations_in_turn_each_through_all_of_a_cycles_power() -> None:
    own = checked(POWERED_BY_SUPPLY)
    turns = checked(POWERED_BY_SUPPLY, FACTS._replace(supply_a=1.0))
    powered = [leg.step for leg in turns.legs if isinstance(leg.step, PowerRamp)]
    # Eight cycles of a ramp up and one down, for three stations.
    assert [step.stations for step in powered[:6]] == [[1], [1], [2], [2], [5], [5]]
    assert [step.to_w for step in powered[:6]] == [13.5, 0.0] * 3  # 0.95 A squared times 15 ohm
    assert len(powered) == 8 * 2 * 3

    def others(plan: CheckedPlan) -> list[Leg]:
        kinds = (PowerRamp, ElementCheck)
        return [leg for leg in plan.legs if not isinstance(leg.step, kinds)]

    assert others(turns) == others(own)
    # Cycles 2 to 9: 13.5 W up at 1 and 0.5 W/min in turn, and 12 W down at 1, twice more each.
    more_s = 2 * 60 * ((13.5 + 12) + (27 + 12)) * 4
    # Each element is checked by itself: 120 s cold and 20 s at the soak, twice more.
    more_s += 2 * (120 + 20)
    assert turns.expected_s - own.expected_s == pytest.approx(more_s)
    told = [text for text in turns.warnings if "in turn" in text or "take turns" in text]
    assert len(told) == 8
    assert "3 stations take turns, 76 min instead of 26" in told[0]  # 3 x (13.5 + 12) min


def test_a_shipped_profile_asks_no_more_than_the_supply_gives_and_own_steps_are_told() -> None:
    small = FACTS._replace(supply_a=0.5)
    powered = [
        leg.step for leg in checked(POWERED_BY_SUPPLY, small).legs if leg.step.kind == "power"
    ]
    assert (
        max(step.to_w for step in powered if isinstance(step, PowerRamp)) == 3.7
    )  # 0.25 A² 15 ohm
    own = POWERED_BY_SUPPLY.replace('profile = "heater-assisted-as-found"', "")
    (fault,) = refused(own + SOAK + POWER.format(w=12), small)
    # P = I²R: 12 W in 15 ohm are 0.89 A.
    assert "0.89 A is more than the 0.50 A" in fault
    assert "to_w = 3.7 would do" in fault
