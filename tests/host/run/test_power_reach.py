"""How far below its start a power opens a unit, by hand: kelvins a watt times watts, 1 K spare."""

from __future__ import annotations

import re

import pytest

from host.simple_bath import WORKSHOP
from proofbath.control.boiling import Coolant
from proofbath.description import parse_toml
from proofbath.errors import InputError
from proofbath.run.check import BenchFacts, check_plan
from proofbath.run.plan import NightPlan

WATER = BenchFacts(6, Coolant(glycol="none").boiling_c(101.325), WORKSHOP)
PLAN = """
batch = "ferry-9"
{profile}
[unit_type]
name = "Heron-103"
kind = "heater-assisted"
nominal_start_to_open_c = {start_c}
full_open_c = 120
full_lift_mm = 8
cap_c = 110
element_max_a = 0.92
element_ohm = 18.0
{known}
[reference_type]
name = "Teal-82"
nominal_start_to_open_c = 82
full_open_c = 95
full_lift_mm = 8
cap_c = 105
[[station]]
station = 1
serial = "H103-0101"
[[station]]
station = 6
serial = "REF-1"
role = "reference"
{steps}
"""
SHIPPED = 'profile = "heater-assisted-as-found"'
BATH = """
[[step]]
kind = "soak"
cycle = {cycle}
to_c = {bath_c}
[[step]]
kind = "power"
cycle = {cycle}
to_w = {to_w}
rate_w_per_min = 1.0
[[step]]
kind = "power"
cycle = {cycle}
to_w = 0.0
rate_w_per_min = 4.0
"""


def shipped(start_c: float, known: str = "") -> NightPlan:
    text = PLAN.format(profile=SHIPPED, start_c=start_c, known=known, steps="")
    return parse_toml(text, NightPlan, "plan.toml")


def own(to_w: float, *baths_c: float, known: str = "") -> NightPlan:
    ramps = [BATH.format(cycle=n, bath_c=c, to_w=to_w) for n, c in enumerate(baths_c, 1)]
    text = PLAN.format(profile="", start_c=103.0, known=known, steps="".join(ramps))
    return parse_toml(text, NightPlan, "plan.toml")


def said(plan: NightPlan) -> list[str]:
    return [w for w in check_plan(plan, WATER).warnings if w.startswith("power ramps:")]


def test_18_ohm_at_0_92_a_carry_22_k_of_span_and_distance() -> None:
    """15.2 W times 1.5 K/W less 1 K: 21.8 K. Water lets the bath go to 96.5 °C and 12 K below."""
    assert said(shipped(106.0)) == []
    (warning,) = said(shipped(107.0))
    assert "the baths span 11.3 K where 12.0 K were asked for" in warning
    assert "15.2 W carry span and distance of 21.8 K (1.5 K/W, as none is given" in warning
    assert "10.5 K beyond the hottest bath; 15.7 W" in warning


def test_a_type_whose_kelvins_a_watt_are_known_is_reckoned_with_them() -> None:
    assert said(shipped(107.0, "element_k_per_w = 1.6")) == []
    (warning,) = said(shipped(105.0, "element_k_per_w = 1.3"))
    assert "18.8 K (1.3 K/W, the type's)" in warning


def test_a_bath_in_which_units_may_stay_shut_is_warned_of_with_what_would_do() -> None:
    """10 W carry 14 K: from 103 down to 89 °C; 20 K take 14 W."""
    assert said(own(10.0, 89.0, 95.0)) == []
    (warning,) = said(own(10.0, 83.0, 95.0))
    assert "coolest bath lies 20.0 K below the start-to-open, 10.0 W carry 14.0 K" in warning
    assert "89.0 °C, or 14.0 W would do" in warning


@pytest.mark.parametrize(("to_w", "refused"), [(4.9, True), (5.0, False)])
def test_a_power_that_cannot_open_units_in_two_baths_is_refused(to_w: float, refused: bool) -> None:
    """At most 2.7 K/W: 4.9 W reach down to 89.8 °C, 5 W to 89.5 °C and so to the bath there."""
    plan = own(to_w, 89.5, 95.0)
    if not refused:
        check_plan(plan, WATER)
        return
    with pytest.raises(InputError) as caught:
        check_plan(plan, WATER)
    (fault,) = caught.value.faults
    assert "4.9 W open units down to 89.8 °C (2.7 K/W, as none is given" in fault
    assert "5.4 W, or baths hotter by 1.3 K would do" in fault
    trial = plan.model_copy(update={"stage": "trial"})
    assert re.match("power ramps: the coolest bath", said(trial)[0])


def test_what_would_do_does() -> None:
    assert said(own(14.0, 83.0, 95.0)) == []
    check_plan(own(5.4, 89.5, 95.0), WATER)


def test_a_plain_type_has_no_kelvins_a_watt() -> None:
    text = PLAN.format(profile=SHIPPED, start_c=103.0, known="", steps="")
    plain = text.replace("cap_c = 105\n", "cap_c = 105\nelement_k_per_w = 1.5\n")
    with pytest.raises(InputError, match="no element heater"):
        parse_toml(plain, NightPlan, "plan.toml")
