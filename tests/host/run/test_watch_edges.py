"""The host's watches at their limits, on blocks written by hand for a bath of round figures."""

from __future__ import annotations

import math
from collections.abc import Iterable

import pytest

from host.simple_bath import WORKSHOP, SimpleBench
from proofbath.control.bath_model import BathModel
from proofbath.run.blocks import Block, Blocks
from proofbath.run.heat_watch import HeatWatch
from proofbath.run.input_watch import InputWatch
from proofbath.run.station_watch import StationWatch
from proofbath.wire.table import Input, State, StationFlag

BATH = BathModel(
    heat_capacity_j_per_k=30_000, loss_w_per_k=0, heater_w=1500, dead_time_s=0, heater_lag_s=0
)
"""No losses: 1500 W for 20 s make exactly one kelvin."""
LIFTS_MM = (0.5,) * 6
UNFED = (False,) * 6


def block(n: int, bath_c: float, on_s: float = 0.0, **changed: object) -> Block:
    """Return the n-th block of ten seconds."""
    made = Block(10.0 * n, 10.0 * n + 10.0, bath_c, bath_c, LIFTS_MM, on_s, UNFED)
    return made._replace(**changed)  # type: ignore[arg-type]


def judged(
    rise_k: float, on_s: float, count: int = 31, model: BathModel = BATH
) -> tuple[HeatWatch, list[str]]:
    """Return what is said of blocks in which heat and temperature grow evenly over 300 s."""
    watch = HeatWatch(model)
    shares = [n / 30.0 for n in range(count)]
    said = [watch.take(block(n, 60 + rise_k * s, on_s * s), False) for n, s in enumerate(shares)]
    return watch, said


@pytest.mark.parametrize(("rise_k", "ends"), [(8.52, False), (8.48, True)])
def test_heat_may_be_missing_by_two_fifths_and_half_a_kelvin(rise_k: float, ends: bool) -> None:
    """By hand: 300 s of 1500 W in 30 kJ/K are 15 K; 15 - 0.4 * 15 - 0.5 = 8.5 K must come."""
    _, said = judged(rise_k, 300.0)
    assert bool(said[-1]) is ends
    assert not any(said[:-1])
    if ends:
        assert "rose 8.5 K in 5 min where 15.0 K belong to the heat" in said[-1]


@pytest.mark.parametrize(("on_s", "ends"), [(19.9, False), (20.1, True)])
def test_less_heat_than_a_kelvin_is_not_judged(on_s: float, ends: bool) -> None:
    """20 s of 1500 W in 30 kJ/K are 1 K; the bath falls by one."""
    assert bool(judged(-1.0, on_s)[1][-1]) is ends


@pytest.mark.parametrize(("model", "blocks"), [(BATH, 31), (WORKSHOP, 34)])
def test_five_minutes_and_the_baths_own_delay_are_looked_at(model: BathModel, blocks: int) -> None:
    """30 spans of 10 s; dead time 6 s, lag 10 s and the probe's 6 s are three blocks more."""
    said = judged(0.0, 300.0, count=40, model=model)[1]
    assert [bool(text) for text in said] == [n + 1 >= blocks for n in range(40)]


def test_a_gap_a_missing_reading_or_the_valve_begins_the_look_anew() -> None:
    for spoil in ("gap", "nan", "valve"):
        watch, said = judged(0.0, 300.0, count=30)
        bath_c = math.nan if spoil == "nan" else 60.0
        first = 31 if spoil == "gap" else 30
        said = [watch.take(block(first, bath_c, 300.0), spoil == "valve")]
        later = range(first + 1, first + 40)
        said += [watch.take(block(n, 60.0, 10.0 * n), False) for n in later]
        missing = 29 if spoil == "gap" else 30
        assert [bool(text) for text in said[1:]] == [n >= missing for n in range(39)]


def change_told(first_s: float, second_s: float, rise_k: float = 10.0) -> str:
    watch = HeatWatch(BATH)
    watch.rise_begins(60.0, 0.0)
    assert watch.rise_ends(70.0, first_s) == ""
    watch.rise_begins(60.0, 1000.0)
    return watch.rise_ends(60.0 + rise_k, 1000.0 + second_s)


@pytest.mark.parametrize(
    ("second_s", "told"), [(229.8, ""), (230.2, "+15 %"), (170.2, ""), (169.8, "-15 %")]
)
def test_a_heat_capacity_may_change_by_15_percent(second_s: float, told: str) -> None:
    """By hand: 200 s for 10 K the first time; 230 and 170 s are 15 % more and less."""
    said = change_told(200.0, second_s)
    assert bool(said) is bool(told)
    assert told in said


def test_rises_of_unlike_height_tell_the_same_capacity() -> None:
    """200 s for 10 K and 400 s for 20 K; 480 s are a fifth more."""
    assert change_told(200.0, 400.0, rise_k=20.0) == ""
    assert "+20 %" in change_told(200.0, 480.0, rise_k=20.0)


@pytest.mark.parametrize(("rise_k", "ends"), [(8.48, False), (8.44, True)])
def test_a_mix_takes_more_heat_when_it_is_hot(rise_k: float, ends: bool) -> None:
    """By hand: 0.1 % per K above 60 °C; at 64.2 °C 450 kJ in 30 127 J/K are 14.94 K, of which
    0.6 * 14.94 - 0.5 = 8.46 K must come."""
    growing = BATH.model_copy(update={"capacity_growth_per_k": 0.001})
    assert bool(judged(rise_k, 300.0, model=growing)[1][-1]) is ends


def test_heat_that_never_arrives_is_told_however_long_it_lasts() -> None:
    """400 W of losses do not explain 1500 W without a rise, in the first window or the last."""
    lossy = BATH.model_copy(update={"loss_w_per_k": 10.0, "ambient_c": 20.0})
    said = judged(0.0, 300.0, count=200, model=lossy)[1]
    assert all(said[30:])


@pytest.mark.parametrize(("rise_k", "told"), [(4.99, False), (5.01, True)])
def test_a_rise_of_five_kelvin_tells_the_heat_capacity(rise_k: float, told: bool) -> None:
    assert bool(change_told(200.0, 300.0, rise_k)) is told


def test_a_rise_that_never_began_tells_nothing() -> None:
    assert HeatWatch(BATH).rise_ends(80.0, 500.0) == ""


def zeros_told(
    first_mm: float, now_mm: float, closed_mm: float = 0.5, at_c: float = 40.0
) -> list[str]:
    watch = StationWatch((True, True, False, True, True, True))
    closed = (closed_mm,) * 6
    assert watch.zero(40.0, closed) == []
    watch.take(block(0, 40.0, lift_mm=(first_mm,) * 6))
    assert watch.zero(40.0, closed) == []
    watch.take(block(1, 40.0, lift_mm=(0.5, now_mm, now_mm, *(first_mm,) * 3)))
    return [text for text in watch.zero(at_c, closed) if "station 1:" not in text]


@pytest.mark.parametrize(("now_mm", "told"), [(0.549, 0), (0.551, 1), (0.451, 0), (0.449, 1)])
def test_a_zero_returns_within_a_twentieth(now_mm: float, told: int) -> None:
    """0.05 mm (common practice, no source); station 3 is not loaded."""
    said = zeros_told(0.5, now_mm)
    assert len(said) == told
    if told:
        assert said[0].startswith(f"station 2: zero moved by {now_mm - 0.5:+.3f} mm")


@pytest.mark.parametrize(("closed_mm", "told"), [(0.301, 1), (0.299, 0), (0.699, 1), (0.701, 0)])
def test_only_a_closed_unit_has_a_zero(closed_mm: float, told: int) -> None:
    """A first lift within 0.2 mm of the cold one's is a closed unit's."""
    assert len(zeros_told(0.5, 0.7, closed_mm)) == told


@pytest.mark.parametrize(("at_c", "told"), [(40.49, 1), (40.51, 0), (39.51, 1), (39.49, 0)])
def test_zeros_are_compared_at_the_same_temperature(at_c: float, told: int) -> None:
    """Half a kelvin: more is another soak, and its zero the first of its own."""
    assert len(zeros_told(0.5, 0.7, at_c=at_c)) == told


@pytest.mark.parametrize(
    ("change_k", "told"), [(0.299, []), (0.301, [7]), (-0.301, [7]), (-0.299, [])]
)
def test_probes_may_part_by_three_tenths_for_less_than_a_minute(
    change_k: float, told: list[int]
) -> None:
    """The first block is what they are compared with; the change stands from the third on."""
    watch = StationWatch((False,) * 6)
    said = []
    for n in range(12):
        guard_c = 59.5 - (change_k if n >= 2 else 0.0)
        said.append(watch.take(block(n, 60.0, guard_c=guard_c)))
    assert [n for n, texts in enumerate(said) if texts] == told


def input_answers(readings: Iterable[dict[str, object]]) -> list[bool]:
    watch = InputWatch()
    healthy = SimpleBench().reading()._replace(state=State.LIVE, duty=0.5)
    return [bool(watch.take(healthy._replace(**changed))) for changed in readings]  # type: ignore[arg-type]


WELL = int(Input.LEVEL_OK | Input.STIRRER_TURNING | Input.EMERGENCY_STOP_CLOSED)


@pytest.mark.parametrize(
    "wrong",
    [
        {"inputs": WELL & ~Input.LEVEL_OK},
        {"inputs": WELL & ~Input.STIRRER_TURNING},
        {"inputs": WELL & ~Input.EMERGENCY_STOP_CLOSED},
        {"inputs": WELL | Input.HEATER_LIVE, "duty": 0.0},
    ],
)
def test_what_the_controller_should_have_tripped_for_ends_the_run_at_the_second_look(
    wrong: dict[str, object],
) -> None:
    """Every one of them trips a good controller within two seconds; a look is each ten."""
    assert input_answers([wrong, wrong]) == [False, True]
    assert input_answers([wrong, {"inputs": WELL}, wrong]) == [False] * 3
    assert input_answers([wrong | {"state": State.READY}] * 3) == [False] * 3


def test_another_fault_is_counted_from_its_own_first_look() -> None:
    low, still = ({"inputs": WELL & ~flag} for flag in (Input.LEVEL_OK, Input.STIRRER_TURNING))
    assert input_answers([low, still, still]) == [False, False, True]


@pytest.mark.parametrize(("gap_s", "kept"), [(19.9, True), (20.1, False)])
def test_a_gap_of_two_blocks_begins_a_block_anew(gap_s: float, kept: bool) -> None:
    blocks, reading = Blocks(), SimpleBench().reading()
    assert blocks.add(reading) is None
    assert (blocks.add(reading._replace(t_s=reading.t_s + gap_s)) is not None) is kept
    assert Blocks().add(reading) is None
    again = Blocks()
    again.add(reading)
    assert again.add(reading._replace(t_s=reading.t_s + 9.9)) is None
    assert again.add(reading._replace(t_s=reading.t_s + 10.0)) is not None


def test_a_block_is_the_mean_of_each_value_for_itself() -> None:
    """By hand: 100 readings whose last one differs by 100, so each mean by one."""
    blocks, still = Blocks(), SimpleBench().reading()
    first = still._replace(bath_c=1.0, guard_c=2.0, lift_mm=(3.0, 4.0, 5.0, 6.0, 7.0, 8.0))
    for tick in range(99):
        assert blocks.add(first._replace(t_s=tick / 10.0)) is None
    last = first._replace(
        t_s=9.9, bath_c=101.0, guard_c=102.0, lift_mm=(103.0, 104.0, 105.0, 106.0, 107.0, 108.0)
    )
    assert blocks.add(last) is None
    fed_a = (0.0, 0.021, 0.019, math.nan, 0.0, 0.0)
    made = blocks.add(first._replace(t_s=10.0, heater_on_s=4.5, element_a=fed_a))
    assert made is not None
    assert (made.from_s, made.to_s, made.heater_on_s) == (0.0, 10.0, 4.5)
    assert (made.bath_c, made.guard_c) == pytest.approx((2.0, 3.0))
    assert made.lift_mm == pytest.approx((4.0, 5.0, 6.0, 7.0, 8.0, 9.0))
    assert made.fed == (False, True, False, False, False, False)


def test_a_flagged_station_is_fed_no_more_though_the_controller_forgets_its_flag() -> None:
    watch = StationWatch((True, True, False, True, True, True))
    assert watch.may_feed == (True,) * 6
    flag = int(StationFlag.ELEMENT_OPEN)
    assert watch.flagged((0, flag, flag, 0, 0, 0)) == [
        "station 2: element_open; it is fed no more, the others go on"
    ]
    assert watch.may_feed == (True, False, False, True, True, True)
    assert watch.flagged((0,) * 6) == []
    assert watch.may_feed == (True, False, False, True, True, True)
    assert len(watch.flagged((flag, 0, 0, 0, 0, 0))) == 1
    assert watch.may_feed == (False, False, False, True, True, True)
