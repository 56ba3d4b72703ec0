"""Elements on a run: measured, judged, fed or not, and what the controller is told."""

from __future__ import annotations

import json

import pytest

from host.run.wired_bench import DRY, FED_TWO, HEATED, WAXLESS, WET, Core, WiredNight
from host.run.workshop import TEAL_82
from host.simple_bath import WORKSHOP
from proofbath.run.acts import Pause, Resume
from proofbath.run.duration import total_seconds
from proofbath.run.element_check import BASE_S, REST_S, WHOLE_S
from proofbath.run.element_steps import with_element_checks
from proofbath.run.elements import Elements
from proofbath.run.profile import ElementCheck, ElementGuard, PlannedStep, Ramp, Soak, resolve
from proofbath.run.states import Phase
from proofbath.wire.table import State, StopReason


def test_healthy_elements_are_fed_and_guarded_by_their_own_coefficient() -> None:
    night = WiredNight({1: WET, 2: WET._replace(per_k=4e-4)}).run()
    assert night.sequencer.phase is Phase.DONE
    assert night.said("alarm") == night.of_stations("warning") == []
    assert night.was_fed(1)
    assert night.was_fed(2)
    # R is 15 ohm at 25 °C, so that of the cold start, at 22 °C, is the base: 2e-4 / 0.9994.
    assert night.elements.coefficient(1).per_k == pytest.approx(2e-4, rel=0.02)
    assert night.elements.coefficient(2).per_k == pytest.approx(4e-4, rel=0.02)
    one, two, *others = night.elements.in_force
    assert 19 <= one <= 20
    assert 38 <= two <= 40
    assert others == [0, 0, 0, 0]


@pytest.mark.parametrize("core", [DRY, WAXLESS, DRY._replace(per_k=5e-4)], ids=str)
def test_an_element_in_air_or_without_wax_is_not_fed_and_the_other_is(core: Core) -> None:
    night = WiredNight({1: core, 2: WET}).run()
    assert night.sequencer.phase is Phase.DONE
    (alarm,) = night.said("alarm")
    assert alarm.startswith("station 1: element is dry or its wax is gone:")
    assert alarm.endswith("the others go on; take it out and look")
    assert not night.was_fed(1)
    assert night.was_fed(2)


def test_a_core_that_heats_fast_is_fed_no_longer_before_its_check_is_over() -> None:
    # 20 K a watt in 3 s: at 3 W the core would stand 60 K over the bath for 100 s.
    night = WiredNight({1: Core(per_k=6e-4, k_per_w=20.0, lag_s=3.0), 2: WET})
    night.bench.reading()
    while night.sequencer.leg < 1:
        night.tick()
        assert night.bench.over_k[0] < 60.0 * 0.75
    assert not night.elements.may_feed[0]


@pytest.mark.parametrize(
    ("per_k", "words"),
    [(0.5e-4, "grows by 0.0050 % a kelvin"), (9e-4, "more than 0.06 %: look at its leads")],
)
def test_what_cannot_be_guarded_is_fed_only_while_somebody_stays(per_k: float, words: str) -> None:
    odd = {1: WET._replace(per_k=per_k), 2: WET}
    alone = WiredNight(odd).run()
    (alarm,) = alone.said("alarm")
    assert words in alarm
    assert "it is not fed while nobody stays" in alarm
    assert not alone.was_fed(1)
    assert alone.was_fed(2)
    stayed = WiredNight(odd, attended=True).run()
    (warning,) = stayed.of_stations("warning")
    assert words in warning
    assert "stay with it" in warning
    assert stayed.was_fed(1)
    assert stayed.elements.in_force[0] == 0


def test_a_bath_that_is_warm_already_gives_no_coefficient() -> None:
    night = WiredNight({1: WET, 2: WET}, bath_c=48.0).run()
    assert all("rose by 12 K between its two measurements, 20 K" in a for a in night.said("alarm"))
    assert len(night.said("alarm")) == 2
    assert not night.was_fed(1)


def test_no_current_no_verdict_no_feeding() -> None:
    night = WiredNight({2: WET}).run()
    (alarm,) = night.said("alarm")
    assert alarm.startswith("station 1: its resistance was not measured twice")


def test_an_element_that_drops_out_of_its_check_is_not_called_wet() -> None:
    night = WiredNight({1: WET, 2: WET}).until(Phase.CHECKING)
    while night.bench.element_a[0] < 0.2:
        night.tick()
    core = night.bench.cores.pop(1)
    night.until(Phase.SOAKING)
    night.bench.cores[1] = core
    night.run()
    (alarm,) = night.said("alarm")
    assert alarm.startswith("station 1: its wet check did not get its current")
    assert not night.was_fed(1)


def test_the_heat_is_given_back_for_the_limits_and_spoils_nothing() -> None:
    night = WiredNight({1: WET, 2: WET})
    states = []
    while not night.sequencer.ended:
        night.tick()
        if night.sequencer.phase in (Phase.GUARDING, Phase.ENERGISING):
            states.append(night.bench.state)
    assert states.count(State.READY) <= 3
    assert states[-10:] == [State.LIVE] * 10
    assert night.said("cycle_spoiled") == []


def test_a_controller_that_takes_no_limits_ends_the_run() -> None:
    night = WiredNight({1: WET, 2: WET}, takes_limits=False).run()
    assert night.sequencer.phase is Phase.STOPPED
    assert "does not take the elements' limits within 20 s" in night.sequencer.reason
    assert not night.was_fed(1)


def test_a_check_that_was_paused_begins_anew_and_spoils_no_cycle() -> None:
    night = WiredNight({1: WET, 2: WET})
    for _ in range(1000):
        night.tick()
    night.sequencer.step(Pause())
    for _ in range(100):
        night.tick()
        assert night.bench.element_a == (0.0,) * 6 or night.bench.tick_count < 1002
    night.sequencer.step(Resume())
    night.run()
    assert night.said("cycle_spoiled") == []
    assert night.elements.coefficient(1).per_k == pytest.approx(2e-4, rel=0.02)


def test_what_was_found_is_known_to_a_run_that_is_gone_on_with() -> None:
    first = WiredNight({1: DRY, 2: WET}).run()
    again = Elements(before=first.said("elements")[-1])
    assert again.may_feed == (False, True, True, True, True, True)
    assert again.guard == again.in_force == first.elements.in_force
    assert again.coefficient(2) == first.elements.coefficient(2)
    # A cold measurement counts though the cycle begins again on a warm bath.
    half = WiredNight({1: WET, 2: WET})
    while not half.said("elements"):
        half.tick()
    warm = WiredNight({1: WET, 2: WET}, bath_c=48.0, before=half.said("elements")[-1]).run()
    assert warm.was_fed(1)
    assert warm.elements.in_force == pytest.approx((19, 19, 0, 0, 0, 0), abs=1)


def test_an_element_above_150_degrees_is_noted_once() -> None:
    night = WiredNight({1: WET, 2: WET})
    night.until(Phase.ENERGISING)
    # 0.9 A in 15 ohm are 12.2 W: 8 K a watt make 97 K over a bath of 60 °C.
    night.bench.cores[1] = WET._replace(k_per_w=8.0)
    night.run()
    (alarm,) = night.said("alarm")
    assert alarm.startswith("station 1: its element was at about 15")
    assert "wax and sleeve may have suffered" in alarm


def test_heat_that_no_probe_sees_ends_the_run_without_a_trip() -> None:
    night = WiredNight({1: WET, 2: WET})
    night.until(Phase.SOAKING)
    reading = night.bench.reading()._replace(state=State.LIVE, stop_reason=StopReason.HEAT_UNSEEN)
    night.sequencer.step(reading)
    assert not night.sequencer.ended  # what the controller says of an earlier stop
    night.sequencer.step(reading._replace(state=State.READY, t_s=reading.t_s + 0.1))
    assert night.sequencer.phase is Phase.STOPPED
    assert night.sequencer.reason.startswith("heat does not reach the probes: lid open, boiling")


def test_checks_stand_at_the_cold_start_and_at_the_soak_before_the_first_feeding() -> None:
    steps: list[PlannedStep] = [Ramp(cycle=1, to_c=50.0, rate_k_per_min=1.0), *HEATED, *HEATED]
    legs = resolve(steps, TEAL_82, 103.0, FED_TWO)
    made = with_element_checks(legs, False)
    kinds = [leg.step.kind for leg in made]
    assert kinds == [
        "element check", "ramp", "soak", "element check", "element guard", "energise",
        "soak", "energise",
    ]  # fmt: skip
    cold, warm = made[0].step, made[3].step
    assert isinstance(cold, ElementCheck)
    assert isinstance(warm, ElementCheck)
    assert cold.stations == warm.stations == [1, 2]
    assert (cold.base_s, cold.current_s, cold.last) == (20.0, 100.0, False)
    assert (warm.base_s, warm.current_s, warm.last) == (20.0, 0.0, True)
    # A minute's rest, 20 s and 100 s, then 20 s and the contactor's 3 s.
    more_s = total_seconds(made, WORKSHOP) - total_seconds(legs, WORKSHOP)
    assert more_s == pytest.approx(REST_S + BASE_S + WHOLE_S + BASE_S + 3.0)


def test_a_source_for_one_station_checks_them_in_turn() -> None:
    made = with_element_checks(resolve(HEATED, TEAL_82, 103.0, FED_TWO), True)
    checks = [leg.step for leg in made if isinstance(leg.step, ElementCheck)]
    assert [c.stations for c in checks] == [[1], [2], [1], [2]]
    assert [c.rest_s for c in checks] == [60.0, 0.0, 0.0, 0.0]
    assert [c.last for c in checks] == [False, False, False, True]
    assert sum(isinstance(leg.step, ElementGuard) for leg in made) == 1


def test_a_plan_that_feeds_nothing_is_left_as_it_is() -> None:
    legs = resolve([Soak(to_c=60.0)], TEAL_82, 103.0)
    assert with_element_checks(legs, False) is legs


@pytest.mark.parametrize(("rise_k", "fed"), [(10.3, True), (10.9, False), (11.1, False)])
@pytest.mark.parametrize("off", [-1.0, 1.0])
def test_an_element_at_the_limit_is_not_fed_whatever_its_last_digits(
    rise_k: float, fed: bool, off: float
) -> None:
    """2 W warm it by 5.15, 5.45 and 5.55 K a watt, limit 5.5; its coefficient is known to 2 %.

    The soak is read wrong by one standard uncertainty to either side.
    """
    base_ohm, u_ohm = 15.0, 0.0016
    soak_ohm = base_ohm * (1.0 + 2e-4 * 75.0) + off * u_ohm
    late = [base_ohm * (1.0 + 2e-4 * rise_k), 0.0]
    cold = [20.0, 0.2, 2.2, [base_ohm, u_ohm], late, late, False]
    soak = [95.0, 0.2, None, [soak_ohm, u_ohm], [None, None], [None, None], False]
    kept = {"cold": {"1": cold}, "wet": {"1": cold}, "soak": {"1": soak}}
    elements = Elements(before=json.dumps(kept | {"barred": [], "judged": []}))
    said = elements.checked({}, brief=True, last=True)
    assert elements.may_feed[0] is fed
    assert [one.code for _, one in said] == ([] if fed else ["element_dry"])
