"""Set currents that nobody could use, by hand: 2.7 K/W is the most a watt moves a start (from
memory), so 15 ohm at I ampere move it by 40.5 K/A² I².
"""

from __future__ import annotations

from itertools import pairwise

import pytest

from host.run.workshop import HERON_103
from host.simple_bath import WORKSHOP
from proofbath.errors import InputError
from proofbath.run.check import BenchFacts, check_plan
from proofbath.run.heated_profiles import HeatedNight, Place, currents_a
from proofbath.run.plan import NightPlan
from proofbath.run.profile import Energise, Ramp

FACTS = BenchFacts(6, 106.0, WORKSHOP)
"""The bath goes to 103 °C, 3 K below boiling; a ramp shows an opening up to 102 °C."""
ONE_BATH, RAMPS = "currents-at-one-bath", "openings-at-currents"


def night(profile: str, max_a: float = 0.9, stage: str = "as-left", **heated: object) -> NightPlan:
    known = HERON_103.model_copy(update={"element_max_a": max_a, "nominal_start_to_open_c": 106.0})
    return NightPlan.model_validate(
        {
            "batch": "ferry-9",
            "stage": stage,
            "profile": profile,
            "unit_type": known.model_dump(),
            "station": [{"station": 1, "serial": "H103-0101"}],
            "heated": heated,
        }
    )


def refused(plan: NightPlan) -> list[str]:
    try:
        check_plan(plan, FACTS)
    except InputError as error:
        return list(error.faults)
    return []


def test_a_current_that_opens_nothing_in_this_bath_is_refused_with_one_that_would() -> None:
    """From 106 to 102 °C are 4 K: the root of 4 / 40.5 is 0.3143 A."""
    (fault,) = refused(night(RAMPS, opening_a=[0.1, 0.8]))
    assert fault.startswith("[heated] opening_a: 0.1 A opens no unit in this bath: at 2.7 K/W")
    assert "from 105.6 °C on, the bath's ramps reach 102.0 °C; 0.32 A would do" in fault
    assert refused(night(RAMPS, opening_a=[0.32, 0.8])) == []
    assert "0.31 A opens no unit" in refused(night(RAMPS, opening_a=[0.31, 0.8]))[0]
    assert "[heated] current_a: 0.25 A" in refused(night(RAMPS, current_a=[0.25, 0.8]))[0]


def test_usual_currents_that_open_nothing_are_left_out_without_a_word() -> None:
    plan = night(RAMPS)
    assert refused(plan) == []
    ramps = [step for step in plan.steps(FACTS.place).step if isinstance(step, Ramp)]
    assert sorted({step.element_a for step in ramps if step.element_a}) == [0.5, 0.75, 0.9]


@pytest.mark.parametrize("profile", [ONE_BATH, RAMPS])
def test_a_type_whose_element_is_too_weak_is_refused_with_the_current_that_would_do(
    profile: str,
) -> None:
    """At one bath of 98 °C, 8 K below the start, the root of 8 / 40.5 is 0.4444 A."""
    needed_a = {ONE_BATH: 0.45, RAMPS: 0.32}[profile]
    (fault,) = refused(night(profile, max_a=0.25))
    assert fault.startswith(f"{profile}: the element is too weak: at 2.7 K/W its 0.25 A open")
    assert fault.endswith(f"{needed_a:g} A would do, where the element may be given 0.25 A")
    assert len(refused(night(profile, max_a=needed_a - 0.01))) == 1
    assert refused(night(profile, max_a=needed_a)) == []


def test_currents_asked_for_at_one_bath_may_leave_every_unit_shut() -> None:
    """A limit may say that a unit stays shut at a current."""
    assert refused(night(ONE_BATH, current_a=[0.25])) == []


@pytest.mark.parametrize(
    ("profile", "key"), [(ONE_BATH, "current_a"), (RAMPS, "current_a"), (RAMPS, "opening_a")]
)
@pytest.mark.parametrize(
    ("amps", "said"),
    [
        ([0.5, 0.5], "0.5 A and 0.5 A are one current for a result"),
        ([0.6, 0.605], "or give 0.63 A or more beside 0.6 A"),
        ([0.6, 0.62], "0.6 A and 0.62 A are one current"),
        ([0.6, 0.63], ""),
    ],
)
def test_currents_no_result_tells_apart_are_refused(
    profile: str, key: str, amps: list[float], said: str
) -> None:
    """Two readings within 2 % are one current, and each may be off by that."""
    faults = refused(night(profile, **{key: amps}))
    assert len(faults) == bool(said)
    assert said in "".join(faults)


def test_a_current_too_small_to_be_seen_is_refused() -> None:
    (fault,) = refused(night(ONE_BATH, current_a=[0.05, 0.5]))
    assert fault.startswith("[heated] current_a: 0.05 A is less than the 0.1 A from which")
    assert refused(night(ONE_BATH, current_a=[0.1, 0.5])) == []


def test_the_usual_currents_keep_apart_from_the_greatest() -> None:
    for max_a in (0.26, 0.5, 0.51, 0.76, 0.9, 1.2):
        plan = night(ONE_BATH, max_a=max_a)
        made = HeatedNight(
            *(plan.unit_type, 103.0, Place(103.0, WORKSHOP), 1, plan.heated),
        )
        amps = currents_a(made)
        assert amps[-1] == min(max_a, 1.0)
        assert all(b - a >= 0.04 * b for a, b in pairwise(amps))


def test_a_trial_may_try_them() -> None:
    plan = night(ONE_BATH, stage="trial", current_a=[0.6, 0.605], held_s=60.0)
    assert refused(plan) == []
    steps = plan.steps(FACTS.place).step
    assert [step.element_a for step in steps if isinstance(step, Energise)] == [0.6, 0.605]
