"""Patience and ceilings of a run at their limits, reading by reading."""

from __future__ import annotations

import pytest

from host.run.night import Night
from host.run.workshop import TEAL_82
from host.simple_bath import WORKSHOP, SimpleBench
from proofbath.run.blocks import Block
from proofbath.run.branch import BranchWatch
from proofbath.run.duration import leg_seconds
from proofbath.run.note import Branch
from proofbath.run.profile import Drive, Hold, Ramp, Soak, Step, resolve
from proofbath.run.progress import Timetable
from proofbath.run.reading import NO_CURRENT, Demand, Reading
from proofbath.run.sequencer import Sequencer
from proofbath.run.states import Phase
from proofbath.run.steady import Steadiness
from proofbath.wire.session import LinkSilent
from proofbath.wire.table import Input, State, StationFlag

STEPS: list[Step] = [Soak(to_c=60.0, at_least_s=600.0)]


def sequencer(steps: list[Step] = STEPS) -> Sequencer:
    return Sequencer(resolve(steps, TEAL_82, 103.0), WORKSHOP)


def reading(t_s: float, **changed: object) -> Reading:
    live = SimpleBench(bath_c=40.0).reading()._replace(t_s=t_s, bath_c=40.0, state=State.LIVE)
    return live._replace(**changed)  # type: ignore[arg-type]


def test_a_stirrer_is_given_fifteen_seconds_and_the_valve_stays_shut() -> None:
    run = sequencer()
    still = int(Input.LEVEL_OK | Input.EMERGENCY_STOP_CLOSED)
    for tenths in range(151):
        assert run.step(reading(tenths / 10.0, inputs=still)) == Demand(
            0.0, True, False, NO_CURRENT
        )
    assert not run.ended
    run.step(reading(15.1, inputs=still))
    assert run.ended
    assert run.reason == "stirrer does not turn after 15 s; check its drive"


def test_ten_silent_seconds_lose_the_run() -> None:
    run = sequencer()
    run.step(reading(0.0))
    for _ in range(9):
        run.step(LinkSilent())
    assert not run.ended
    run.step(LinkSilent())
    assert run.reason == "no sample for 10 s; check the cable"


@pytest.mark.parametrize(("bath_c", "ends"), [(65.95, False), (66.05, True)])
def test_a_bath_driven_without_control_coasts_on_by_six_kelvin_at_most(
    bath_c: float, ends: bool
) -> None:
    """A drive to 60 °C; the heater's rod of a workshop bath holds less than 6 K more."""
    run = sequencer([Drive(duty=0.5, for_s=600.0, until_c=60.0), Hold(for_s=3000.0)])
    for tenths in range(60):
        run.step(reading(tenths / 10.0))
    for tenths in range(60, 400):
        run.step(reading(tenths / 10.0, bath_c=bath_c, guard_c=bath_c, duty=0.5))
    assert run.ended is ends
    assert ("is heated beyond 66.0 °C" in run.reason) is ends


def test_after_an_over_stroke_the_bath_stays_three_tenths_below() -> None:
    night = Night([Soak(to_c=60.0, at_least_s=600.0)], bath_c=59.0).until(Phase.SOAKING)
    for _ in range(600):
        night.tick()
    night.bench.station_flags = (int(StationFlag.OVER_STROKE), *(0,) * 5)
    night.tick()
    then_c = night.bath_c[-1]
    for _ in range(4000):  # a bath under its lid falls by 0.3 K in a minute or two
        night.tick()
    assert night.sequencer.setpoint_c == pytest.approx(then_c - 0.3, abs=1e-6)


@pytest.mark.parametrize(("start_mm", "told"), [(2.14, 1), (2.24, 0)])
def test_a_gauge_that_reads_more_than_two_millimetres_holds_an_open_unit(
    start_mm: float, told: int
) -> None:
    """The fixture adds 0.01 mm at 40 °C: 2.15 is within 0.2 mm of 2.0, 2.25 is not, so only the
    first has a zero to return to."""
    soak = Soak(cycle=1, to_c=40.0, at_least_s=60.0)
    night = Night([soak, Ramp(to_c=41.0, rate_k_per_min=1.0), soak])
    night.bench.lift_mm = (start_mm, *(0.5,) * 5)
    while night.sequencer.leg < 1:
        night.tick()
    night.bench.lift_mm = (start_mm + 0.3, *(0.5,) * 5)
    night.until(Phase.DONE)
    assert len([n for n in night.warned() if "station 1: zero moved" in n.text]) == told


def steadiness(count: int, k_per_min: float = 0.0, mm_per_min: float = 0.0) -> Steadiness:
    """Return a record of straight lines in blocks of ten seconds."""
    made = Steadiness()
    for n in range(count):
        lifts = (1.0, 1.0 + mm_per_min * n / 6.0, *(1.0,) * 4)
        bath_c = 60.0 + k_per_min * n / 6.0
        made.add(Block(10.0 * n, 10.0 * n + 10.0, bath_c, bath_c, lifts, 0.0, (False,) * 6))
    return made


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize(
    ("k_per_min", "mm_per_min", "steady"),
    [(0.0299, 0.0, True), (0.0301, 0.0, False), (0.0, 0.0099, True), (0.0, 0.0101, False)],
)
def test_a_slope_is_of_the_last_minute_in_its_unit(
    k_per_min: float, mm_per_min: float, sign: int, steady: bool
) -> None:
    """A straight line's slope is its own: six blocks of ten seconds are a minute."""
    record = steadiness(9, sign * k_per_min, sign * mm_per_min)
    assert record.within(0.03, 0.01) is steady


def test_a_record_of_less_than_a_minute_is_not_steady() -> None:
    assert not steadiness(5).within(1.0, 1.0)
    assert steadiness(6).within(1.0, 1.0)


@pytest.mark.parametrize(
    ("from_c", "to_c", "branch"),
    [
        (60.0, 60.049, Branch.LEVEL),
        (60.0, 60.051, Branch.RISING),
        (60.0, 59.949, Branch.FALLING),
        (60.0, 59.951, Branch.LEVEL),
    ],
)
def test_less_than_a_twentieth_of_a_kelvin_is_no_branch(
    from_c: float, to_c: float, branch: Branch
) -> None:
    watch = BranchWatch()
    watch.begin(1, from_c, to_c)
    assert watch.branch is branch


def test_a_bath_goes_back_from_the_extreme_of_its_branch() -> None:
    watch = BranchWatch()
    watch.begin(1, 60.0, 70.0)
    for bath_c in (61.0, 63.0, 62.5):
        watch.follow(bath_c)
    assert watch.went_back_k(62.5) == 0.5
    assert watch.went_back_k(64.0) == 0.0
    watch.begin(1, 63.0, 80.0)
    assert watch.went_back_k(62.0) == 1.0, "the same branch goes on"
    watch.begin(2, 61.0, 80.0)
    assert watch.went_back_k(62.0) == 0.0, "another cycle begins its own"
    watch.begin(2, 80.0, 60.0)
    for bath_c in (79.0, 75.0):
        watch.follow(bath_c)
    assert watch.went_back_k(76.5) == 1.5
    watch.begin(2, 75.0, 75.0)
    assert watch.went_back_k(99.0) == 0.0


@pytest.mark.parametrize(("back_k", "spoiled"), [(0.29, 0), (0.31, 1)])
def test_three_tenths_back_while_the_link_was_down_spoil_a_cycle(
    back_k: float, spoiled: int
) -> None:
    """0.3 K: common practice, no source."""
    run = sequencer([Ramp(cycle=1, to_c=80.0, rate_k_per_min=1.0)])
    for tenths in range(60):
        run.step(reading(tenths / 10.0))
    run.step(reading(6.0, bath_c=50.0))
    run.step(LinkSilent())
    run.step(reading(8.0, bath_c=50.0 - back_k))
    assert len([n for n in run.take_notes() if n.code == "cycle_spoiled"]) == spoiled


def test_a_run_is_late_beyond_a_quarter_and_half_an_hour() -> None:
    """By hand: 4000 s expected; 1.25 * 4000 + 1800 = 6800 s, and as much later as it paused."""
    legs = resolve([Hold(for_s=4000.0)], TEAL_82, 103.0)
    times = Timetable(legs, WORKSHOP)
    times.begin(100.0, 60.0, 0)
    assert not times.is_late(6900.0)
    assert times.is_late(6900.1)
    assert not times.is_late(9999.0), "it is said once"
    paused = Timetable(legs, WORKSHOP)
    paused.begin(100.0, 60.0, 0)
    paused.delay(50.0)
    assert not paused.is_late(6950.0)
    assert paused.is_late(6950.1)


def test_a_step_may_take_twice_its_time_and_half_an_hour() -> None:
    """By hand: 2 * 1000 + 1800 s; a soak that may wait 1500 s longer than 300 s has them too."""
    hold, soak = resolve([Hold(for_s=1000.0), Soak(to_c=60.0)], TEAL_82, 103.0)
    times = Timetable((hold, soak), WORKSHOP)
    assert times.leg_limit_s(hold, 60.0) == 2 * 1000.0 + 1800.0
    expected_s = leg_seconds(soak, 60.0, WORKSHOP)
    assert times.leg_limit_s(soak, 60.0) == 2 * expected_s + 1500.0 + 1800.0
