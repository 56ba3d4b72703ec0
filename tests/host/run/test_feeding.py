"""Current on any step of the bath: refused before heat, set during the run, guarded as ever."""

from __future__ import annotations

import pytest

from host.run.night import Night
from host.run.test_check import CURRENT, FACTS, POWER, SOAK, assisted, checked, refused
from host.run.test_power import Elements
from host.run.wired_bench import DRY, FED_TWO, WET, WiredNight
from host.run.workshop import ASSISTED, TEAL_82
from host.simple_bath import WORKSHOP
from proofbath.description import parse_toml
from proofbath.errors import InputError
from proofbath.run.acts import Pause, Resume
from proofbath.run.check import check_plan
from proofbath.run.element_steps import with_element_checks
from proofbath.run.feed_faults import SETTLES_S, Source
from proofbath.run.in_turn import in_turn
from proofbath.run.on_times import on_times
from proofbath.run.plan import NightPlan
from proofbath.run.profile import (
    Hold,
    PlannedStep,
    Ramp,
    Soak,
    Step,
    resolve,
)
from proofbath.run.states import Phase

RAMP = '[[step]]\nkind = "ramp"\nto_c = {c}\nrate_k_per_min = 1\n'
HOLD = '[[step]]\nkind = "hold"\nfor_s = {s}\n'
A = "element_a = {a}\n"
PER_STATION = "element_a = [0.6, 0.0, 0.0, 0.0, 0.0, {last}]\n"


def at(steps: list[Step], phase: Phase) -> tuple[float, ...]:
    """Return the currents asked just after a phase begins."""
    night = Night(steps, loading=ASSISTED).until(phase)
    night.tick()
    assert night.bench.demand is not None
    return night.bench.demand.element_a


def test_a_ramp_a_soak_and_a_hold_carry_their_current_and_leave_the_plain_unit_alone() -> None:
    fed = (0.6,) * 5 + (0.0,)
    cold = Soak(to_c=38.5, at_least_s=60.0)
    assert at([cold, Ramp(to_c=39.5, rate_k_per_min=1, element_a=0.6)], Phase.RAMPING) == fed
    assert at([cold, Hold(for_s=60, element_a=0.6)], Phase.HOLDING) == fed
    assert at([Soak(to_c=38.5, element_a=0.6)], Phase.SOAKING) == fed
    each = [0.1, 0.2, 0.3, 0.4, 0.5, 0.6]
    assert at([cold, Hold(for_s=60, element_a=each)], Phase.HOLDING) == (*each[:5], 0.0)
    one = Hold(for_s=60, element_a=0.6, stations=[2])
    assert at([cold, one], Phase.HOLDING) == (0.0, 0.6, 0.0, 0.0, 0.0, 0.0)


def test_the_bath_falls_with_its_current_too() -> None:
    steps: list[Step] = [
        Soak(to_c=38.5, at_least_s=60.0),
        Ramp(to_c=37.5, rate_k_per_min=1, element_a=0.3),
    ]
    night = Night(steps, loading=ASSISTED).until(Phase.RAMPING)
    while night.sequencer.phase is Phase.RAMPING:
        night.tick()
        assert night.bench.demand is not None
        if night.sequencer.phase is Phase.RAMPING:
            assert night.bench.demand.element_a == (0.3,) * 5 + (0.0,)
    assert night.sequencer.phase is Phase.DONE


def test_a_voltage_is_made_by_the_measured_resistance_within_the_types_current() -> None:
    """I = U / R of each element as it is; 13.5 V in 14 ohm would be 0.96 A, the type bears 0.9."""
    steps: list[Step] = [Soak(to_c=38.5, at_least_s=60.0), Hold(for_s=60, element_v=13.5)]
    night = Night(steps, loading=ASSISTED).until(Phase.HOLDING)
    elements = Elements(night, (14.0, 15.5, 16.0, 17.0, 150.0, 15.0))
    for _ in range(100):
        elements.tick()
    assert night.bench.demand is not None
    asked = night.bench.demand.element_a
    assert asked[0] == 0.9
    for a, ohm in zip(asked[1:4], (15.5, 16.0, 17.0), strict=True):
        assert a * ohm == pytest.approx(13.5, abs=0.001)
    assert asked[4] == pytest.approx(0.9)  # 150 ohm is a fault: 13.5 V by the nominal 15 ohm
    assert asked[5] == 0.0


def test_a_rise_with_current_ends_with_every_fed_unit_open_and_a_fall_with_all_shut() -> None:
    full = ASSISTED._replace(full_lift_mm=(8.0,) * 6)
    steps: list[Step] = [
        Soak(to_c=38.5, at_least_s=60.0),
        Ramp(to_c=60, rate_k_per_min=2, element_a=0.6, ends_with_lifts=True),
        Ramp(to_c=30, rate_k_per_min=2, element_a=0.6, ends_with_lifts=True),
    ]
    night = Night(steps, loading=full).until(Phase.RAMPING)
    closed = night.bench.lift_mm
    while night.sequencer.leg == 1:
        # All but one open from 39 °C by 4 mm/K, the last of the fed by 2 mm/K; the plain one not.
        slope = (4.0, 4.0, 4.0, 4.0, 2.0, 0.0)
        over_k = max(0.0, night.bath_c[-1] - 39.0)
        night.bench.lift_mm = tuple(
            c + min(9.0, s * over_k) for c, s in zip(closed, slope, strict=True)
        )
        night.tick()
    # 8.3 mm at 2 mm/K are 4.15 K above 39 °C, seen in means of 10 s at 2 K/min.
    assert night.bath_c[-1] == pytest.approx(43.15, abs=0.7)
    begun = night.bench.tick_count
    night.bench.lift_mm = closed
    while night.sequencer.leg == 2 and not night.sequencer.ended:
        night.tick()
    assert (night.bench.tick_count - begun) / 600 == pytest.approx(3.0, abs=0.5)


def test_a_step_that_would_switch_off_without_a_word_is_refused_and_zero_says_so() -> None:
    fed = SOAK + CURRENT.format(a=0.6)
    (fault,) = refused(assisted(fed + RAMP.format(c=70)))
    assert fault == (
        "step 3: ramp would switch the elements off, 0.6 A flow; say element_a = 0.6 to go on with"
        " it, or element_a = 0 for off"
    )
    for said in (0.6, 0):
        assert checked(assisted(fed + RAMP.format(c=70) + A.format(a=said))).legs
    drive = '[[step]]\nkind = "drive"\nduty = 0.1\nfor_s = 60\nuntil_c = 70\n'
    (fault,) = refused(assisted(fed + drive))
    assert fault.endswith("it feeds nothing: put a hold with element_a = 0 before it")
    # A power ramp to nothing has come down already.
    assert checked(assisted(fed + POWER.format(w=0) + RAMP.format(c=70))).legs


@pytest.mark.parametrize(
    ("steps", "said"),
    [
        (RAMP.format(c=70) + A.format(a=0.95), "element_a = 0.9 would do"),
        # The type's 15 ohm at 0.9 A are 13.5 V.
        (RAMP.format(c=70) + "element_v = 14\n", "0.93 A is more than the 0.90 A"),
        (RAMP.format(c=70) + "element_v = 14\n", "element_v = 13.5 would do"),
        (POWER.format(w=13), "to_w = 12.1 would do"),  # 0.81 A² x 15 ohm = 12.15 W
        (RAMP.format(c=70) + PER_STATION.format(last=0.5), "station 6 has no element heater"),
        (HOLD.format(s=600) + A.format(a=0.5) + "stations = [6]\n", "no station it names"),
        (HOLD.format(s=600) + A.format(a=0.5) + "stations = [1, 6]\n", "there are 1"),
        (HOLD.format(s=120) + A.format(a=0.5), f"give for_s = {SETTLES_S:.0f} or more"),
        (CURRENT.format(a=0.5) + "at_most_s = 90\n", "give at_most_s = 300 or more"),
        (
            HOLD.format(s=600) + A.format(a=0.5) + HOLD.format(s=600) + A.format(a=0.4),
            "before a lower one let the valves close",
        ),
    ],
)
def test_what_cannot_be_or_would_give_nothing_is_refused_with_what_would_do(
    steps: str, said: str
) -> None:
    assert any(said in fault for fault in refused(assisted(SOAK + steps)))


def test_a_hold_that_goes_on_with_a_ramps_current_need_not_settle_anew() -> None:
    steps = SOAK + RAMP.format(c=70) + A.format(a=0.5) + HOLD.format(s=60) + A.format(a=0.5)
    assert checked(assisted(steps)).legs


def test_a_trial_may_be_as_short_as_it_likes() -> None:
    trial = assisted(SOAK + HOLD.format(s=60) + A.format(a=0.5))
    assert checked(trial.replace('batch = "ferry-7"', 'batch = "ferry-7"\nstage = "trial"')).legs


def test_a_bench_without_a_source_and_a_voltage_beyond_it_are_told() -> None:
    text = assisted(SOAK + RAMP.format(c=70) + "element_v = 13\n")
    (fault,) = refused(text, FACTS._replace(source=Source(is_there=False)))
    assert "no source of element current" in fault
    (fault,) = refused(text, FACTS._replace(source=Source(most_v=12.0)))
    assert "13 V is more than the 12 V" in fault
    assert checked(text, FACTS._replace(source=Source(most_v=13.0))).legs


def test_a_bath_that_the_elements_keep_warm_is_refused_with_the_temperature_that_would_do() -> None:
    """By hand: 0.9 A in 15 ohm is 12.15 W; at 27 °C the bath loses 1.8 * 5 = 9 W, and vapour for
    some watts more, left out here. What would do loses 1.3 times as much: 15.8 W at 31 °C."""
    model = WORKSHOP.model_copy(update={"evaporation_w_at_90c": 0.0})
    text = assisted(SOAK + RAMP.format(c=27) + A.format(a=0.9))
    (fault,) = refused(text, FACTS._replace(model=model))
    assert "the elements give 12 W, at 27.0 °C the bath loses 9 W" in fault
    assert "31 °C would do" in fault  # 1.8 * 9 = 16.2 W
    short = text.replace("to_c = 27", "to_c = 31").replace("to_c = 60", "to_c = 33")
    assert checked(short, FACTS._replace(model=model)).legs


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("element_a = 0.5\nelement_v = 7\n", "not both"),
        ("element_a = 2.1\n", "0 to 2 A"),
        ("element_v = [1, 2, 3]\n", "3 values, 6 are needed"),
        ("stations = [1]\n", "give element_a or element_v"),
        ("element_a = [0, 0, 0, 0, 0, 0.5]\nstations = [6]\n", "give element_a or element_v, one"),
    ],
)
def test_set_values_that_say_nothing_clear_are_refused(line: str, said: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_toml(assisted(SOAK + RAMP.format(c=70) + line), NightPlan, "plan.toml")
    assert said in str(caught.value)


def test_a_type_without_heater_data_is_refused_by_a_profile_that_feeds() -> None:
    plain = (
        assisted("")
        .replace('kind = "heater-assisted"', "")
        .replace("element_max_a = 0.9\nelement_ohm = 15\ncap_c = 108", "cap_c = 108")
    )
    plan = parse_toml(
        plain.replace('batch = "ferry-7"', 'batch = "ferry-7"\nprofile = "openings-at-currents"'),
        NightPlan,
        "plan.toml",
    )
    with pytest.raises(InputError, match="Teal-82: has no heater data"):
        check_plan(plan, FACTS)


FED_RISE: list[PlannedStep] = [
    Soak(cycle=1, to_c=50.0, at_least_s=60.0),
    Ramp(cycle=1, to_c=51.0, rate_k_per_min=1.0, element_a=0.9),
    Ramp(cycle=1, to_c=50.0, rate_k_per_min=0.5, element_a=0.9),
]


def test_elements_are_checked_before_a_ramp_feeds_them_and_timed_through_both_ways() -> None:
    legs = resolve(FED_RISE, TEAL_82, 103.0, FED_TWO)
    made = with_element_checks(legs, False)
    kinds = [leg.step.kind for leg in made]
    assert kinds == ["element check", "soak", "element check", "element guard", "ramp", "ramp"]
    # A minute up at 1 K/min, two and a half down at the bath's 0.4 K/min less the elements' heat.
    on = on_times(legs, WORKSHOP)
    assert on.element_s[0] == on.element_s[1] > 180.0
    assert on.element_s[2:] == (0.0,) * 4
    assert on.element_limit_s[0] >= 1.25 * on.element_s[0] + 120.0
    assert on.element_limit_s[2:] == (0,) * 4


def test_an_element_limit_below_a_ramps_time_is_refused() -> None:
    text = assisted(SOAK + RAMP.format(c=75) + A.format(a=0.6))
    (fault,) = refused(text, FACTS._replace(element_limit_s=300))
    assert "its element is fed for 15 min at a stretch, limit 5 min" in fault


def test_a_dry_element_is_not_fed_on_a_ramp_and_its_neighbour_is() -> None:
    night = WiredNight({1: DRY, 2: WET}, steps=FED_RISE).run()
    assert night.sequencer.phase is Phase.DONE
    assert any(text.startswith("station 1: element is dry") for text in night.said("alarm"))
    assert not night.was_fed(1)
    assert night.was_fed(2)


def test_an_element_that_cannot_be_guarded_is_fed_on_a_ramp_only_while_somebody_stays() -> None:
    odd = {1: WET._replace(per_k=0.5e-4), 2: WET}
    alone = WiredNight(odd, steps=FED_RISE).run()
    assert not alone.was_fed(1)
    assert alone.was_fed(2)
    stayed = WiredNight(odd, steps=FED_RISE, attended=True).run()
    assert stayed.was_fed(1)


def test_no_current_is_asked_for_without_the_stirrer() -> None:
    """The controller refuses current without it (`unstirred`); a ramp's demand always has both."""
    night = WiredNight({1: WET, 2: WET}, steps=FED_RISE)
    fed = 0
    while not night.sequencer.ended:
        night.tick()
        demand = night.bench.demand
        if demand is not None and any(demand.element_a):
            fed += 1
            assert demand.stirrer
    assert fed > 100


def test_a_source_for_one_station_takes_each_through_the_whole_ramp_and_back() -> None:
    steps: list[PlannedStep] = [
        Soak(cycle=1, to_c=50.0),
        Ramp(cycle=1, to_c=60.0, rate_k_per_min=1.0, element_a=0.9),
        Hold(cycle=1, for_s=300.0, element_a=0.9),
        Soak(cycle=2, to_c=50.0, element_a=0.0),
    ]
    legs, told = in_turn(resolve(steps, TEAL_82, 103.0, FED_TWO), WORKSHOP)
    assert [(leg.step.kind, leg.to_c) for leg in legs] == [
        ("soak", 50.0),
        ("ramp", 60.0),
        ("hold", 60.0),
        ("soak", 50.0),
        ("ramp", 60.0),
        ("hold", 60.0),
        ("soak", 50.0),
    ]
    fed = [getattr(leg.step, "stations", None) for leg in legs]
    assert fed == [None, [1], [1], None, [2], [2], None]
    assert len(told) == 1


def test_a_pause_on_a_fed_ramp_spoils_its_cycle_for_the_units_cooled() -> None:
    night = WiredNight({1: WET, 2: WET}, steps=FED_RISE).until(Phase.RAMPING)
    for _ in range(50):
        night.tick()
    night.sequencer.step(Pause())
    night.tick()
    night.sequencer.step(Resume())
    night.tick()
    assert len(night.said("cycle_spoiled")) == 1
