"""The sequencer against a bath that answers: the run's story, and every way it can end."""

from __future__ import annotations

import itertools
import math

import pytest

from host.run.night import Night
from host.run.wired_bench import WET, WiredNight
from host.run.workshop import ASSISTED, POWERED, SHORT, TEAL_82
from host.simple_bath import WORKSHOP, SimpleBench
from proofbath.errors import BenchFaultError
from proofbath.run.profile import Hold, Ramp, Soak, Step, resolve
from proofbath.run.reading import RELEASE
from proofbath.run.sequencer import SILENCE_LIMIT, Sequencer, Stop
from proofbath.run.states import END, TRANSITIONS, WORKING, Kind, Phase, next_phase
from proofbath.wire.session import Disconnected, LinkSilent, Rebooted
from proofbath.wire.table import Input, State, TripReason


def test_a_run_does_its_steps_in_order_and_is_done() -> None:
    night = Night().until(Phase.DONE)
    assert [note.leg for note in night.said("step_begin")] == [0, 1, 2, 3, 4]
    assert [note.leg for note in night.said("step_end")] == [0, 1, 2, 3, 4]
    assert [note.branch for note in night.said("step_begin")] == [
        "rising", "rising", "rising", "level", "falling",
    ]  # fmt: skip
    assert [note.cycle for note in night.said("step_begin")] == [1, 1, 1, 1, 0]
    assert night.said("run_end")[0].text == "done"
    assert night.sequencer.step(night.bench.reading()) is RELEASE


def test_true_rates_are_reported_not_those_asked_for() -> None:
    night = Night().until(Phase.DONE)
    ends = night.said("step_end")
    for note, step in zip(ends[1:3], (1, 2), strict=True):
        begin = night.said("step_begin")[step]
        rate = 60.0 * (note.bath_c - begin.bath_c) / (note.t_s - begin.t_s)
        assert note.rate_k_per_min == pytest.approx(rate, abs=1e-9)
    # Asked for the fastest, got Newton's: losses at 44 °C over 31 kJ/K, by hand 0.10 K/min.
    assert ends[4].rate_k_per_min == pytest.approx(-0.10, abs=0.03)


def test_no_corner_stands_between_two_rates_of_one_rise() -> None:
    night = Night().until(Phase.HOLDING)
    between = night.said("step_begin")[2].t_s
    near = [c for i, c in enumerate(night.bath_c) if abs(i * 0.1 - between - 22.0) < 60.0]
    tens = [sum(near[i : i + 100]) / 100 for i in range(0, len(near) - 99, 100)]
    slopes = [6.0 * (b - a) for a, b in itertools.pairwise(tens)]
    assert min(slopes) > 0.4
    assert max(slopes) < 1.1


def test_heat_waits_until_the_stirrer_has_turned() -> None:
    night = Night()
    night.bench.inputs = Input.LEVEL_OK
    for _ in range(100):
        night.tick()
        assert night.bench.demand is not None
        assert night.bench.demand.stirrer
        assert night.bench.demand.duty == 0.0
    night.bench.inputs |= Input.STIRRER_TURNING
    night.until(Phase.SOAKING)
    assert 13.9 < night.bench.tick_count / 10 < 14.3


def test_a_stirrer_that_never_turns_ends_the_run_before_heat() -> None:
    night = Night()
    night.bench.inputs = Input.LEVEL_OK
    night.until(Phase.STOPPED)
    assert "stirrer" in night.sequencer.reason


def test_a_soak_goes_on_until_the_lifts_are_steady() -> None:
    steps: list[Step] = [Soak(to_c=39.0, at_least_s=60.0, at_most_s=600.0)]
    calm = Night(steps).until(Phase.DONE)
    restless = Night(steps)
    while not restless.sequencer.ended:
        restless.bench.lift_mm = (0.5 + 0.001 * restless.bench.tick_count / 10,) * 6
        restless.tick()
    assert restless.bench.tick_count - calm.bench.tick_count > 4000
    assert "not steady" in restless.warned()[0].text
    assert not calm.warned()


def test_a_dead_gauge_does_not_keep_a_soak_from_ending() -> None:
    night = Night([Soak(to_c=39.0, at_least_s=60.0, at_most_s=3600.0)])
    night.bench.lift_mm = (math.nan,) + (0.5,) * 5
    night.until(Phase.DONE, longest_s=1200.0)
    assert not night.warned()


def test_a_trip_ends_the_run_with_the_controllers_reason() -> None:
    night = Night().until(Phase.RAMPING)
    night.bench.state, night.bench.trip_reason = State.TRIPPED, TripReason.LEVEL_LOW
    night.tick()
    assert night.sequencer.phase is Phase.TRIPPED
    assert night.bench.demand is RELEASE
    assert "level_low" in night.said("run_end")[0].text


def test_a_trip_before_the_start_never_asks_for_anything() -> None:
    night = Night()
    night.bench.state, night.bench.trip_reason = State.TRIPPED, TripReason.POWER_ON
    assert night.sequencer.step(night.bench.reading()) is RELEASE
    assert night.sequencer.phase is Phase.TRIPPED


def test_a_stop_releases_at_once_and_the_first_reason_stays() -> None:
    night = Night().until(Phase.RAMPING)
    assert night.sequencer.step(Stop("smells of glycol")) is RELEASE
    night.sequencer.step(Disconnected("unplugged"))
    assert night.sequencer.phase is Phase.STOPPED
    assert night.sequencer.reason == "smells of glycol"


@pytest.mark.parametrize("event", [Disconnected("unplugged"), Rebooted(8)])
def test_a_lost_link_or_a_restart_of_the_controller_ends_the_run(
    event: Disconnected | Rebooted,
) -> None:
    night = Night().until(Phase.SOAKING)
    assert night.sequencer.step(event) is None
    assert night.sequencer.phase is Phase.LOST
    assert night.sequencer.step(night.bench.reading()) is RELEASE


def test_a_short_silence_is_survived_and_a_long_one_is_not() -> None:
    night = Night().until(Phase.RAMPING)
    for _ in range(SILENCE_LIMIT - 1):
        assert night.sequencer.step(LinkSilent()) is None
    night.tick()
    assert night.sequencer.phase is Phase.RAMPING
    for _ in range(SILENCE_LIMIT):
        night.sequencer.step(LinkSilent())
    assert night.sequencer.phase is Phase.LOST


@pytest.mark.parametrize(("off_s", "spoiled"), [(2.0, False), (110.0, True)])
def test_a_rise_that_fell_back_is_marked_spoiled(off_s: float, spoiled: bool) -> None:
    steps: list[Step] = [
        Soak(cycle=1, to_c=80.0, at_least_s=60.0),
        Ramp(cycle=1, to_c=84.0, rate_k_per_min=1.0),
        Hold(for_s=10.0),
    ]
    night = Night(steps, bath_c=79.0).until(Phase.RAMPING)
    for _ in range(1200):
        night.tick()
    night.lose_the_lease(off_s)
    night.until(Phase.DONE)
    assert bool(night.said("cycle_spoiled")) == spoiled


def test_a_controller_that_takes_no_demand_ends_the_run() -> None:
    night = Night().until(Phase.RAMPING)
    night.lose_the_lease(119.0)
    assert night.sequencer.phase is Phase.RAMPING
    night.lose_the_lease(3.0)
    assert night.sequencer.phase is Phase.STOPPED
    assert "takes no demand" in night.sequencer.reason


def test_a_soak_may_wait_as_long_as_it_says() -> None:
    night = Night([Soak(to_c=39.0, at_least_s=60.0, at_most_s=5400.0)])
    while not night.sequencer.ended:
        night.bench.lift_mm = (0.5 + 0.001 * night.bench.tick_count / 10,) * 6
        night.tick()
    assert night.sequencer.phase is Phase.DONE
    assert night.bench.tick_count / 10 > 5400.0


def test_after_a_pause_the_setpoint_begins_at_the_reading() -> None:
    night = Night().until(Phase.RAMPING)
    night.lose_the_lease(100.0)
    for _ in range(2):
        night.tick()
    assert night.sequencer.setpoint_c == pytest.approx(night.bath_c[-1], abs=0.05)


def test_a_bath_that_does_not_get_there_ends_the_run() -> None:
    night = Night([Soak(to_c=40.0)])
    night.bench.bath.model = WORKSHOP.model_copy(update={"heater_w": 1.0})
    night.until(Phase.STOPPED, longest_s=600.0)
    assert "heat does not reach the bath" in night.sequencer.reason


def test_a_step_that_never_ends_ends_the_run() -> None:
    """Nothing is heated here, so only the clock can tell: ambient is above the target."""
    night = Night([Ramp(to_c=37.0, rate_k_per_min="attainable")])
    night.bench.bath.model = WORKSHOP.model_copy(
        update={"ambient_c": 38.0, "evaporation_w_at_90c": 0.0}
    )
    night.until(Phase.STOPPED, longest_s=7200.0)
    assert "not over after" in night.sequencer.reason


def test_progress_counts_down_to_the_end() -> None:
    night = Night()
    left = [night.sequencer.progress().left_s]
    for phase in (Phase.SOAKING, Phase.RAMPING, Phase.HOLDING, Phase.DONE):
        night.until(phase)
        left.append(night.sequencer.progress().left_s)
    assert left == sorted(left, reverse=True)
    assert left[-1] == 0.0
    assert night.sequencer.progress().fraction == 1.0


def test_every_state_has_a_row_for_each_sample_link_event_and_stop() -> None:
    outside = (
        Kind.READY, Kind.LIVE, Kind.TRIP, Kind.SILENT, Kind.GONE, Kind.REBOOTED, Kind.STOP,
        Kind.PAUSE, Kind.RESUME, Kind.FINISH,
    )  # fmt: skip
    for phase, kind in itertools.product(Phase, outside):
        assert (phase, kind) in TRANSITIONS


def test_an_end_stays_an_end() -> None:
    for (phase, _), then in TRANSITIONS.items():
        if phase in END:
            assert then is phase


def test_a_pair_without_a_row_is_an_error() -> None:
    with pytest.raises(BenchFaultError, match="cannot happen"):
        next_phase(Phase.DONE, Kind.NEXT_RAMP)
    with pytest.raises(BenchFaultError, match="cannot happen"):
        next_phase(Phase.WAITING, Kind.NO_NEXT)


@pytest.mark.parametrize("phase", sorted(WORKING, key=str))
def test_the_outputs_are_released_in_every_end_from_every_working_phase(phase: Phase) -> None:
    for ending in (Stop(), Rebooted(9), Disconnected("gone")):
        steps = SHORT if phase in {Phase.HOLDING, Phase.RAMPING} else POWERED
        night: Night | WiredNight
        if phase in {Phase.CHECKING, Phase.GUARDING}:
            night = WiredNight({1: WET, 2: WET}).until(phase)
        else:
            night = Night(steps, loading=ASSISTED).until(phase)
        night.sequencer.step(ending)
        assert night.sequencer.ended
        assert night.sequencer.step(night.bench.reading()) is RELEASE


def test_a_resumed_run_begins_with_its_leg() -> None:
    bench = SimpleBench(bath_c=41.0)
    sequencer = Sequencer(resolve(SHORT, TEAL_82, 103.0), WORKSHOP, first=2)
    while not sequencer.ended:
        bench.take(sequencer.step(bench.reading()))
    begun = [note.leg for note in sequencer.take_notes() if note.code == "step_begin"]
    assert begun == [2, 3, 4]
