"""Plans that would lose a night are refused before heat: no value, too long, beyond a limit."""

from __future__ import annotations

import math
import re

import pytest

from host.run.test_check import FACTS, PLAN, checked, refused
from host.simple_bath import WORKSHOP
from proofbath.run.check import duration_fault


def with_steps(*steps: str) -> str:
    tables = "".join(f"\n[[step]]\n{step}\n" for step in steps)
    return PLAN.replace('profile = "plain-as-left"', "") + tables


SOAK = 'kind = "soak"\nto_c = {c}\npurpose = "{purpose}"\ncycle = {cycle}'
RAMP = 'kind = "ramp"\nrate_k_per_min = 1.0\nto_c = {c}\ncycle = {cycle}'


@pytest.mark.parametrize(
    ("name", "steps", "said"),
    [
        (
            "only falling",
            (SOAK.format(c=97, purpose="conditioning", cycle=0), RAMP.format(c=70, cycle=1)),
            "no recorded step rises from 81.0 °C or below through the 82.0 °C",
        ),
        (
            "soak above the start",
            (
                SOAK.format(c=88, purpose="conditioning", cycle=0),
                RAMP.format(c=97, cycle=1),
                RAMP.format(c=88, cycle=1),
            ),
            "no recorded step rises from 81.0 °C or below through the 82.0 °C",
        ),
        (
            "every step is of cycle 0",
            (
                SOAK.format(c=70, purpose="conditioning", cycle=0),
                RAMP.format(c=97, cycle=0),
                RAMP.format(c=70, cycle=0),
            ),
            "step 2: is recorded, but of cycle 0 like step 1, which is conditioning",
        ),
        (
            "nothing recorded",
            (SOAK.format(c=97, purpose="conditioning", cycle=0),),
            "no step is recorded",
        ),
    ],
)
def test_a_plan_that_can_give_no_value_is_refused(
    name: str, steps: tuple[str, ...], said: str
) -> None:
    (fault,) = refused(with_steps(*steps))
    assert fault.startswith(said)
    assert checked(with_steps(*steps).replace('ferry-7"', 'ferry-7"\nstage = "trial"', 1)).legs


@pytest.mark.parametrize(
    "steps",
    [
        # The first soak itself rises from the cold bath; and cycle 0 alone is one recorded pass.
        (SOAK.format(c=97, purpose="recorded", cycle=0), RAMP.format(c=70, cycle=0)),
        (
            SOAK.format(c=70, purpose="conditioning", cycle=0),
            RAMP.format(c=79, cycle=1),
            RAMP.format(c=97, cycle=1),
        ),
    ],
)
def test_a_plan_whose_rise_is_recorded_may_run(steps: tuple[str, ...]) -> None:
    assert checked(with_steps(*steps)).legs


HOLD = 'kind = "hold"\ncycle = 1\nfor_s = {s}'


def long_plan(hours: int) -> str:
    steps = [SOAK.format(c=70, purpose="recorded", cycle=1), RAMP.format(c=85, cycle=1)]
    return with_steps(*steps, *(HOLD.format(s=3600) for _ in range(hours)))


def test_a_limit_that_the_plan_itself_exceeds_is_refused_with_the_figure() -> None:
    (fault,) = refused(PLAN, FACTS._replace(heater_limit_s=1800))
    assert re.match(r"heater: the plan keeps it on for \d\.\d h .* limit 0\.5 h", fault)
    plan = checked(PLAN)
    tight = FACTS._replace(heater_limit_s=math.ceil(plan.on.heater_s) + 1)
    assert checked(PLAN, tight).on.heater_limit_s == tight.heater_limit_s
    assert plan.on.heater_limit_s < 14 * 3600


def test_an_element_limit_below_the_plans_own_steps_is_refused() -> None:
    heated = with_steps(
        SOAK.format(c=80, purpose="recorded", cycle=1),
        'kind = "energise"\nelement_a = 0.5\nat_most_s = 900.0\ncycle = 1',
    ).replace(
        "cap_c = 104",
        'cap_c = 104\nkind = "heater-assisted"\nelement_max_a = 1.0\nelement_ohm = 12.0',
    )
    (fault,) = refused(heated, FACTS._replace(element_limit_s=300))
    assert fault.startswith(
        "station 1: its element is fed for 15 min at a stretch, limit 5 min"
        " (element_on_limit_s in [limits])"
    )
    # 15 min, a quarter more and two minutes, not the 4 h that a bench allows at most.
    assert checked(heated).on.element_limit_s == (1260, 0, 0, 0, 0, 1260)


def test_more_coolant_above_the_switch_than_a_bath_has_is_refused() -> None:
    wasteful = WORKSHOP.model_copy(update={"evaporation_w_at_90c": 600.0})
    facts = FACTS._replace(model=wasteful, fill_l=8.0)
    (fault,) = refused(long_plan(8), facts)
    # By hand: 57.9 kPa at 85 °C over 70.2 at 90 (IAPWS-IF97) of 600 W, 8 h of it over 2.28 MJ/kg
    # and 0.965 kg/l, are 6.5 l; the way there adds a little.
    said = re.match(r"bath: (\d\.\d) l will evaporate, which takes (\d+\.\d) l above", fault)
    assert said
    assert float(said[1]) == pytest.approx(6.6, abs=0.3)
    assert float(said[2]) == pytest.approx(2 * float(said[1]), abs=0.1)
    assert "8.0 l (fill_l) has 4.0 l there at most" in fault
    assert checked(long_plan(8), facts._replace(fill_l=40.0)).legs


def test_a_night_longer_than_a_night_is_said_and_one_of_36_hours_is_a_fault() -> None:
    short, long, longer = (checked(long_plan(h)) for h in (10, 15, 40))
    assert not any("more than a night" in w for w in short.warnings)
    assert any("more than a night" in w for w in long.warnings)
    assert duration_fault(long) == ""
    assert re.match(r"the plan takes 4\d\.\d h, limit 36 h; .* --long", duration_fault(longer))
