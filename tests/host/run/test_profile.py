"""Profiles as an operator writes them: temperatures resolved, clipped, or refused in one line."""

from __future__ import annotations

import math

import pytest

from host.run.workshop import HERON_103, TEAL_82
from host.simple_bath import WORKSHOP
from proofbath.description import parse_toml
from proofbath.errors import InputError
from proofbath.run.heated_profiles import HeatedFigures, HeatedNight, Place
from proofbath.run.profile import Energise, PowerRamp, Profile, Ramp, Soak, resolve
from proofbath.run.profiles import PROFILES, shipped
from proofbath.run.unit_type import UnitType

WRITTEN = """
name = "two steps"
[[step]]
kind = "soak"
above_nominal_k = -12
[[step]]
kind = "ramp"
above_full_open_k = 2
rate_k_per_min = 1.0
at_most_bath_limit = true
[[step]]
kind = "hold"
for_s = 300
"""


def test_relative_temperatures_follow_the_unit_type() -> None:
    steps = parse_toml(WRITTEN, Profile, "p.toml").step
    assert [leg.to_c for leg in resolve(steps, TEAL_82, 103.0)] == [70.0, 97.0, 97.0]
    assert [leg.to_c for leg in resolve(steps, HERON_103, 103.0)] == [91.0, 103.0, 103.0]


def test_only_what_lies_above_the_bath_limit_is_marked_clipped() -> None:
    steps = parse_toml(WRITTEN, Profile, "p.toml").step
    assert [leg.clipped for leg in resolve(steps, TEAL_82, 103.0)] == [False, False, False]
    assert [leg.clipped for leg in resolve(steps, HERON_103, 103.0)] == [False, True, False]


@pytest.mark.parametrize(
    ("line", "changed", "said"),
    [
        ("rate_k_per_min = 1.0", "rate_k_per_min = -1.0", "rate_k_per_min"),
        ("rate_k_per_min = 1.0", 'rate_k_per_min = "fast"', "rate_k_per_min"),
        ("for_s = 300", "for_s = 0", "for_s"),
        ("for_s = 300", "for_min = 5", "did you mean"),
        ('kind = "hold"', 'kind = "holt"', "kind"),
        ("above_nominal_k = -12", "above_nominal_k = -12\nto_c = 70", "exactly one"),
        ("above_nominal_k = -12", "at_least_s = 60", "exactly one"),
        ("above_nominal_k = -12", "to_c = 60\nat_least_s = 90\nat_most_s = 60", "at_most_s"),
    ],
)
def test_a_wrong_step_is_named_with_its_place(line: str, changed: str, said: str) -> None:
    with pytest.raises(InputError, match=r"p\.toml: step\[\d\]") as caught:
        parse_toml(WRITTEN.replace(line, changed, 1), Profile, "p.toml")
    assert said in str(caught.value)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"full_open_c": 80}, "full_open_c"),
        ({"cap_c": 90}, "cap_c"),
        ({"cap_c": 140}, "110"),
        ({"element_max_a": 0.8}, "element heater"),
        ({"kind": "heater-assisted"}, "element_max_a"),
        ({"name": ""}, "character"),
    ],
)
def test_a_unit_type_that_contradicts_itself_is_refused(
    change: dict[str, object], said: str
) -> None:
    with pytest.raises(ValueError, match=said):
        UnitType.model_validate(TEAL_82.model_dump() | change)


NIGHT = HeatedNight(HERON_103, 103.0, Place(103.0, WORKSHOP), 5, HeatedFigures())


def night_of(**asked: object) -> HeatedNight:
    return NIGHT._replace(figures=HeatedFigures.model_validate(asked))


@pytest.mark.parametrize("name", PROFILES)
def test_shipped_profiles_end_cold_and_only_as_left_conditions(name: str) -> None:
    steps = shipped(name, night_of()).step
    legs = resolve(steps, TEAL_82, 103.0)
    assert legs[-1].to_c < 45.0
    conditions = any(step.purpose == "conditioning" for step in steps)
    assert conditions == ("as-left" in name)


@pytest.mark.parametrize("name", ["plain-as-left", "plain-as-found"])
def test_every_cycle_soaks_below_the_opening_rises_holds_and_falls(name: str) -> None:
    legs = resolve(shipped(name, night_of()).step, TEAL_82, 103.0)
    for cycle in {leg.step.cycle for leg in legs if leg.step.purpose == "recorded"}:
        mine = [leg for leg in legs if leg.step.cycle == cycle]
        assert isinstance(mine[0].step, Soak)
        assert mine[0].to_c == 82.0 - 12.0
        assert max(leg.to_c for leg in mine) == 95.0 + 2.0
        assert mine[-1].to_c <= 70.0


def test_a_trim_run_passes_the_start_slowly_and_sees_no_full_opening() -> None:
    """From 8 K below the start to 3 K above it; 22 minutes of rise."""
    soak, rise, cool = resolve(shipped("trim", night_of()).step, TEAL_82, 103.0)
    assert (soak.to_c, rise.to_c) == (82.0 - 8.0, 82.0 + 3.0)
    assert isinstance(rise.step, Ramp)
    assert (rise.step.rate_k_per_min, rise.step.purpose) == (0.5, "recorded")
    assert cool.to_c < 45.0
    assert rise.to_c < TEAL_82.full_open_c - 5.0


def rates_at(name: str, opens_c: float) -> set[object]:
    """Rates at which the bath rises through a temperature."""
    rates: set[object] = set()
    at_c = 20.0
    for leg in resolve(shipped(name, night_of()).step, TEAL_82, 103.0):
        if isinstance(leg.step, Ramp) and at_c < opens_c <= leg.to_c:
            rates.add(leg.step.rate_k_per_min)
        at_c = leg.to_c
    return rates


@pytest.mark.parametrize("name", ["plain-as-left", "plain-as-found"])
def test_the_slow_rate_is_driven_only_round_the_expected_start(name: str) -> None:
    """Slow from 6 K below to 3 K above, the second rate everywhere."""
    for opens_c in (77.0, 82.0, 84.5):
        assert rates_at(name, opens_c) == {0.5, 1.0}
    for opens_c in (74.0, 87.0):
        assert rates_at(name, opens_c) == {1.0}


@pytest.mark.parametrize("name", ["heater-assisted-as-left", "heater-assisted-as-found"])
def test_powered_cycles_rise_at_two_rates_on_four_baths_over_12_kelvins(name: str) -> None:
    legs = resolve(shipped(name, night_of()).step, HERON_103, 103.0)
    rises = {
        (leg.to_c, leg.step.rate_w_per_min)
        for leg in legs
        if isinstance(leg.step, PowerRamp) and leg.step.to_w and leg.step.purpose == "recorded"
    }
    # The hottest 3 K below the type's start of 103 °C, where units are shut; four over 12 K.
    assert rises == {(c, rate) for c in (88.0, 92.0, 96.0, 100.0) for rate in (1.0, 0.5)}
    falls = [leg.step for leg in legs if isinstance(leg.step, PowerRamp) and not leg.step.to_w]
    assert len(falls) == len(rises) + ("as-left" in name)


def test_each_current_from_shut_lets_the_valves_close_before_and_is_held_as_asked() -> None:
    """10 K below the type's start of 103 °C every valve has shut (common practice, no source)."""
    asked = night_of(current_a=[0.6, 0.8], bath_c=94.0, held_s=250.0, each_from_shut=True)
    steps = shipped("currents-at-one-bath", asked).step
    places = [n for n, step in enumerate(steps) if isinstance(step, Energise)]
    assert [steps[n].at_least_s for n in places] == [250.0, 250.0]  # type: ignore[union-attr]
    for n in places:
        before = [leg.to_c for leg in resolve(steps[: n + 1], HERON_103, 103.0)[-3:]]
        assert before == [93.0, 94.0, 94.0]
    usual = shipped("currents-at-one-bath", night_of(current_a=[0.6, 0.8])).step
    first, second = (n for n, step in enumerate(usual) if isinstance(step, Energise))
    assert second == first + 1, "a staircase otherwise"


def test_openings_take_their_own_currents_where_they_are_asked_for() -> None:
    def rises(**asked: object) -> list[object]:
        steps = shipped("openings-at-currents", night_of(**asked)).step
        ramps = [step for step in steps if isinstance(step, Ramp) and step.element_a]
        return sorted({step.element_a for step in ramps})  # type: ignore[type-var]

    assert rises(current_a=[0.6], opening_a=[0.8]) == [0.8]
    assert rises(current_a=[0.6]) == [0.6]


def test_an_unknown_profile_names_those_there_are() -> None:
    with pytest.raises(InputError, match="plain-as-left"):
        shipped("plain-as-lefd", NIGHT)


def test_a_hold_before_any_temperature_has_none() -> None:
    steps = parse_toml(WRITTEN, Profile, "p.toml").step
    assert math.isnan(resolve(steps[2:], TEAL_82, 103.0)[0].to_c)
