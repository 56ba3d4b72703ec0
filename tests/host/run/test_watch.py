"""What the host notices by itself: heat that does not arrive, gauges, zeros, probes, time."""

from __future__ import annotations

import math
import re

import pytest

from host.run.night import Night
from host.simple_bath import WORKSHOP, SimpleBench
from proofbath.run.blocks import Blocks
from proofbath.run.input_watch import InputWatch
from proofbath.run.profile import PLAIN, Hold, Ramp, Soak, Step
from proofbath.run.states import Phase
from proofbath.wire.table import Input, Output, StationFlag

HOT: list[Step] = [
    Soak(cycle=1, to_c=88.0, at_least_s=60.0),
    Ramp(cycle=1, to_c=95.0, rate_k_per_min=1.0),
    Hold(cycle=1, for_s=900.0),
]


def test_blocks_are_means_of_ten_seconds_and_a_gap_begins_anew() -> None:
    bench = SimpleBench(bath_c=40.0)
    blocks = Blocks()
    readings = [bench.reading()._replace(bath_c=float(i)) for i in range(250)]
    made = [block for reading in readings if (block := blocks.add(reading))]
    assert [block.bath_c for block in made] == [49.5, 149.5]
    assert made[1].from_s == made[0].to_s
    far = readings[-1]._replace(t_s=readings[-1].t_s + 60.0)
    assert blocks.add(far) is None
    assert blocks.add(far._replace(t_s=far.t_s + 10.0, bath_c=1.0)) is not None


def test_a_healthy_night_gives_no_warning() -> None:
    """Twice up and down, so that full heat also follows right behind a fall."""
    fall = Ramp(to_c=85.0, rate_k_per_min="attainable")
    night = Night([*HOT, fall, *HOT], bath_c=86.0)
    night.until(Phase.DONE, longest_s=10_000.0)
    assert not night.warned()
    assert not night.said("cycle_spoiled")


@pytest.mark.parametrize(
    ("name", "change"),
    [
        ("dead heater", {"heater_w": 1.0}),
        ("lid off", {"evaporation_w_at_90c": 1400.0}),
        ("three times the fill", {"heat_capacity_j_per_k": 93_000.0}),
    ],
)
def test_heat_that_does_not_arrive_ends_the_run(name: str, change: dict[str, float]) -> None:
    night = Night(HOT, bath_c=86.0).until(Phase.RAMPING)
    night.bench.bath.model = WORKSHOP.model_copy(update=change)
    night.until(Phase.STOPPED, longest_s=1800.0)
    assert "heat does not reach the bath" in night.sequencer.reason


def test_a_fall_by_the_valve_is_not_taken_for_heat_that_is_missing() -> None:
    """The valve takes twice what the model says while the heater trims: no alarm."""
    model = WORKSHOP.model_copy(update={"cooling_w_per_k": 8.0})
    steps: list[Step] = [Soak(to_c=95.0, at_least_s=60.0), Ramp(to_c=80.0, rate_k_per_min=1.0)]
    night = Night(steps, bath_c=94.0, model=model)
    night.bench.bath.model = model.model_copy(update={"cooling_w_per_k": 16.0})
    night.until(Phase.DONE)
    assert not night.warned()


@pytest.mark.parametrize("change", [{"heater_w": 1300.0}, {"loss_w_per_k": 2.6}])
def test_a_bath_a_little_worse_than_its_model_goes_on(change: dict[str, float]) -> None:
    night = Night(HOT, bath_c=86.0)
    night.bench.bath.model = WORKSHOP.model_copy(update=change)
    night.until(Phase.DONE)
    assert not night.warned()


def test_a_level_that_sank_between_two_rises_is_seen_in_the_heat_capacity() -> None:
    rise = [Soak(to_c=80.0, at_least_s=60.0), Ramp(to_c=88.0, rate_k_per_min=1.0)]
    night = Night([*rise, Ramp(to_c=80.0, rate_k_per_min=1.0), *rise], bath_c=79.0)
    while night.sequencer.leg < 2:
        night.tick()
    night.bench.bath.model = WORKSHOP.model_copy(update={"heat_capacity_j_per_k": 25_000.0})
    night.until(Phase.DONE, longest_s=20_000.0)
    texts = [note.text for note in night.warned()]
    said = [re.search(r"heat capacity changed by ([-+]\d+) %", text) for text in texts]
    changes = [float(match[1]) for match in said if match]
    assert changes == [pytest.approx(100 * (25 / 31 - 1), abs=3.0)]


def test_a_bath_heated_beyond_the_plan_ends_the_run() -> None:
    """A relay that leaks heat is not stopped by asking for none."""
    night = Night(HOT, bath_c=86.0).until(Phase.HOLDING)
    night.bench.least_duty = 0.4
    night.until(Phase.STOPPED, longest_s=900.0)
    assert "heated beyond 96.5" in night.sequencer.reason  # 95 °C asked for, and 1.5 K


def test_a_gauge_that_stands_where_its_unit_must_move_is_named_once() -> None:
    """Fully open at 41 °C by its type, shut at 10 °C; the other five are said to open later."""
    loading = PLAIN._replace(open_by_c=(math.inf, math.inf, 41.0, *(math.inf,) * 3))
    steps: list[Step] = [
        Soak(cycle=1, to_c=40.0, at_least_s=60.0),
        Ramp(cycle=1, to_c=44.0, rate_k_per_min=1.0),
    ]
    night = Night(steps, bath_c=10.0, loading=loading)
    night.bench.stuck_mm = {3: 0.5}
    night.until(Phase.DONE)
    texts = [note.text for note in night.warned()]
    assert texts == [
        "station 3: gauge stands at 0.50 mm where its unit must move; does gauge or valve hang?"
    ]


def test_a_zero_that_does_not_return_is_told_for_its_station() -> None:
    soak = Soak(cycle=1, to_c=40.0, at_least_s=60.0)
    night = Night([soak, Ramp(to_c=41.0, rate_k_per_min=1.0), soak])
    while night.sequencer.leg < 1:
        night.tick()
    night.bench.lift_mm = (0.5, 0.62, 0.5, 0.5, 0.5, math.nan)
    night.until(Phase.DONE)
    texts = [note.text for note in night.warned()]
    assert ["station 2: zero moved by +0.12" in text for text in texts] == [True]


def test_a_unit_that_is_open_at_the_soak_has_no_zero_to_return_to() -> None:
    soak = Soak(cycle=1, to_c=40.0, at_least_s=60.0)
    night = Night([soak, Ramp(to_c=41.0, rate_k_per_min=1.0), soak]).until(Phase.SOAKING)
    while not night.sequencer.ended:
        opened_mm = 2.0 if night.sequencer.leg == 0 else 2.5
        night.bench.lift_mm = (0.5, opened_mm, 0.5, 0.5, 0.5, 0.5)
        night.tick()
    assert night.sequencer.phase is Phase.DONE
    assert not night.warned()


def test_probes_that_drift_apart_are_told_once() -> None:
    night = Night(HOT, bath_c=86.0).until(Phase.RAMPING)
    night.bench.guard_offset_k = 0.5
    night.until(Phase.DONE)
    texts = [note.text for note in night.warned()]
    assert ["bath minus guard probe changed by -0.5" in text for text in texts] == [True]


def test_over_stroke_ends_the_rise_and_the_night_goes_on_to_the_fall() -> None:
    steps: list[Step] = [
        Soak(to_c=80.0, at_least_s=60.0),
        Ramp(to_c=84.0, rate_k_per_min=1.0),
        Ramp(to_c=90.0, rate_k_per_min=0.5),
        Hold(for_s=60.0),
        Ramp(to_c=80.0, rate_k_per_min="attainable"),
    ]
    night = Night(steps, bath_c=79.0).until(Phase.RAMPING)
    for _ in range(1200):
        night.tick()
    highest_c = night.bath_c[-1]
    night.bench.station_flags = (0, 0, StationFlag.OVER_STROKE, 0, 0, 0)
    night.until(Phase.DONE, longest_s=7200.0)
    assert [note.leg for note in night.said("step_begin")] == [0, 1, 3, 4]
    assert max(night.bath_c) < highest_c + 0.6


@pytest.mark.parametrize("where", [Phase.SOAKING, Phase.HOLDING])
def test_after_an_over_stroke_no_step_asks_for_heat_beyond_it(where: Phase) -> None:
    """The controller gives no heat above the bath it saw, so a target there is never reached."""
    steps: list[Step] = [
        Soak(to_c=82.0, at_least_s=120.0),
        Hold(for_s=300.0),
        Soak(to_c=84.0, at_least_s=60.0),
    ]
    night = Night(steps, bath_c=81.9).until(where)
    for _ in range(300):
        night.tick()
    seen_c = night.bath_c[-1]
    night.bench.station_flags = (StationFlag.OVER_STROKE, 0, 0, 0, 0, 0)
    begun = len(night.bath_c)
    night.until(Phase.DONE, longest_s=7200.0)
    assert max(night.bath_c[begun + 600 :]) < seen_c
    assert night.bath_c[-1] == pytest.approx(seen_c - 0.3, abs=0.1)


def test_a_run_that_takes_much_longer_than_planned_is_told_once() -> None:
    night = Night([Ramp(to_c=60.0, rate_k_per_min="attainable")], bath_c=80.0)
    night.bench.bath.model = WORKSHOP.model_copy(
        update={"loss_w_per_k": 1.0, "evaporation_w_at_90c": 20.0}
    )
    night.until(Phase.DONE, longest_s=20_000.0)
    texts = [note.text for note in night.said("late")]
    assert ["longer than planned" in text for text in texts] == [True]


@pytest.mark.parametrize(
    ("flag", "words"),
    [
        (Input.STIRRER_TURNING, "stirrer does not turn"),
        (Input.LEVEL_OK, "level is low"),
        (Input.EMERGENCY_STOP_CLOSED, "emergency stop is pressed"),
    ],
)
def test_a_controller_that_does_not_trip_ends_the_run(flag: Input, words: str) -> None:
    """The controller's own persistence is 2 s at most; the host says it after 10 to 20 s."""
    night = Night(HOT, bath_c=86.0).until(Phase.HOLDING)
    night.bench.inputs &= ~flag
    for _ in range(90):
        night.tick()
    assert night.sequencer.phase is Phase.HOLDING
    night.until(Phase.STOPPED, longest_s=15.0)
    assert night.sequencer.reason.startswith(f"{words} and the controller does not trip")


def test_heater_current_that_nobody_asked_for_ends_the_run() -> None:
    night = Night(HOT, bath_c=86.0).until(Phase.RAMPING)
    asked = night.bench.reading()
    watch = InputWatch()
    live = asked._replace(inputs=asked.inputs | Input.HEATER_LIVE)
    assert not any(watch.take(live._replace(duty=0.3)) for _ in range(5)), "between two pulses"
    assert not watch.take(live._replace(duty=0.0, outputs=Output.HEATER))
    assert not watch.take(live._replace(duty=0.0))
    assert "heater takes current unasked" in watch.take(live._replace(duty=0.0))


def test_an_input_that_flickers_ends_nothing() -> None:
    night = Night(HOT, bath_c=86.0)
    healthy = night.bench.inputs
    for n in range(6000):
        night.bench.inputs = (
            healthy & ~Input.STIRRER_TURNING if n % 199 < 9 and n > 900 else healthy
        )
        night.tick()
    assert not night.sequencer.ended


def test_probes_that_drift_apart_slowly_are_told_once() -> None:
    """1.5 K an hour passes the 0.3 K in twelve minutes."""
    night = Night(HOT, bath_c=86.0).until(Phase.RAMPING)
    began_s = night.bench.tick_count / 10
    while night.sequencer.phase is not Phase.DONE:
        night.bench.guard_offset_k = 1.5 * (night.bench.tick_count / 10 - began_s) / 3600
        night.tick()
    (told,) = [note for note in night.said("alarm") if "guard probe changed" in note.text]
    assert 720 <= told.t_s - began_s <= 820


def test_probes_of_unlike_lag_are_no_drift_while_the_bath_moves() -> None:
    """A guard probe slower by 34 s stands 34 s times the rate behind: 0.6 K at 1 K/min."""
    night = Night(HOT, bath_c=86.0)
    lagging_c = 86.0
    widest_k = 0.0
    while night.sequencer.phase is not Phase.DONE:
        bath_c = night.bench.bath.probe_c
        lagging_c += (bath_c - lagging_c) * 0.1 / 34.0
        night.bench.guard_offset_k = lagging_c - bath_c
        widest_k = max(widest_k, abs(night.bench.guard_offset_k))
        night.tick()
    assert widest_k > 0.5
    assert not night.warned()


def test_a_drift_beyond_lag_times_rate_is_told_while_the_bath_moves() -> None:
    night = Night(HOT, bath_c=86.0).until(Phase.RAMPING)
    for _ in range(600):
        night.tick()
    # At 1 K/min 40 s are 0.67 K, and 0.3 K on top.
    night.bench.guard_offset_k = 1.2
    for _ in range(1200):
        night.tick()
    assert night.sequencer.phase is Phase.RAMPING
    (told,) = night.warned()
    assert "guard probe changed by -1." in told.text


def test_a_gauge_out_of_range_costs_its_own_station_one_alarm() -> None:
    night = Night(HOT, bath_c=86.0).until(Phase.RAMPING)
    night.bench.station_flags = (0, StationFlag.GAUGE_FAULT, 0, 0, 0, 0)
    night.bench.lift_mm = (0.5, math.nan, 0.5, 0.5, 0.5, 0.5)
    night.until(Phase.DONE)
    texts = [note.text for note in night.said("alarm")]
    assert texts == ["station 2: gauge_fault; it is fed no more, the others go on"]
