"""A gauge that stands where its unit must move is told, a sound unit that rests is not.

The units are the closed form's: lift = 0.5 mm/K above 82 °C, a lag of 20 s, a play of 3 K, a stop.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from host.curve.closed_form import STEP_S, StraightUnit, ramps
from proofbath.run.blocks import Block
from proofbath.run.gauge_watch import GaugeWatch
from proofbath.run.station_watch import StationWatch

FULL_OPEN_C = 95.0
BLOCK = round(10.0 / STEP_S)
UNFED = (False,) * 6


def told(
    bath_c: np.ndarray,
    lift_mm: np.ndarray,
    open_by_c: float = FULL_OPEN_C,
    fed: np.ndarray | None = None,
) -> list[float]:
    """Return the bath at each block that the gauge is said to hang at."""
    watch, said = GaugeWatch(open_by_c), []
    for n, (first, end) in enumerate(pairwise(range(0, len(bath_c), BLOCK))):
        mean_c, mean_mm = float(bath_c[first:end].mean()), float(lift_mm[first:end].mean())
        block = Block(10.0 * n, 10.0 * n + 10.0, mean_c, mean_c, (mean_mm,) * 6, 0.0, UNFED)
        if watch.stands(block, 0.4 + mean_mm, bool(fed[first]) if fed is not None else False):
            said.append(mean_c)
    return said


def cycle(rate: float, low_c: float = 60.0, top_c: float = 99.0) -> np.ndarray:
    return ramps((low_c, 0), (top_c, rate), (top_c, 600), (low_c, rate), (low_c, 600))


@pytest.mark.parametrize("rate", [0.1, 0.5, 2.0])
@pytest.mark.parametrize("stop_mm", [2.0, 20.0])
@pytest.mark.parametrize("opens_c", [70.0, 82.0, 90.0])
def test_a_sound_unit_may_stand_shut_or_at_its_stop(
    rate: float, stop_mm: float, opens_c: float
) -> None:
    """At 0.1 K/min it stands for hours on end; two cycles, so that its own curve is known."""
    bath_c = np.concatenate([ramps((20.0, 0), (60.0, 5.0)), cycle(rate), cycle(rate)])
    assert told(bath_c, StraightUnit(opens_c=opens_c, stop_mm=stop_mm).lift_mm(bath_c)) == []


def test_a_sound_unit_may_rest_in_its_play_where_the_bath_turns() -> None:
    """Inner loops: the bath turns where the lift rests, higher or lower than the cycle before."""
    inner = ramps((60, 0), (99, 1), (90, 1), (94, 0.1), (88, 0.1), (97, 0.1), (84, 0.1), (97, 2))
    assert told(inner, StraightUnit(play_k=5.0, lag_s=45.0).lift_mm(inner)) == []


def test_a_later_rise_may_be_two_kelvins_later() -> None:
    once, again = cycle(0.5), cycle(0.1)
    for later_k, hangs in ((1.9, False), (3.6, True)):
        lift_mm = [
            StraightUnit().lift_mm(once),
            StraightUnit(opens_c=82.0 + later_k).lift_mm(again),
        ]
        said = told(np.concatenate([once, again]), np.concatenate(lift_mm))
        assert bool(said) is hangs


def test_a_gauge_that_is_stuck_from_the_beginning_is_told_at_full_open() -> None:
    bath_c = np.concatenate([ramps((20.0, 0), (60.0, 5.0)), cycle(0.5)])
    said = told(bath_c, np.zeros(len(bath_c)))
    assert FULL_OPEN_C <= said[0] < FULL_OPEN_C + 0.2


def test_shut_in_the_cold_must_have_been_seen() -> None:
    """A run gone on with in a hot bath: the valve may stand at its stop all the time."""
    hot = cycle(0.5, low_c=71.0)
    assert told(hot, np.full(len(hot), 12.0)) == []
    colder = cycle(0.5, low_c=69.0)
    assert told(colder, np.zeros(len(colder))) != []


def test_a_gauge_that_sticks_half_open_is_told_on_the_fall() -> None:
    """It sticks at 3 mm, 88 °C; 2.5 mm were passed at 87 °C rising: told 8 K below that."""
    bath_c = cycle(0.5)
    lift_mm = np.minimum(StraightUnit(lag_s=0.0).lift_mm(bath_c), 3.0)
    top = int(np.argmax(bath_c >= 98.9))
    lift_mm[top:] = 3.0
    said = told(bath_c, lift_mm)
    assert said
    assert said[0] == pytest.approx(87.0 - 8.0, abs=0.5)


def test_a_gauge_that_sticks_shut_in_a_later_cycle_is_told_by_the_first_ones_curve() -> None:
    """0.5 mm were passed at 83 °C: told 2 K later, and a bin of half a kelvin on top."""
    bath_c = np.concatenate([cycle(0.5), cycle(0.5)])
    lift_mm = StraightUnit(lag_s=0.0).lift_mm(bath_c)
    lift_mm[len(bath_c) // 2 :] = 0.0
    said = told(bath_c, lift_mm, open_by_c=float("inf"))
    assert said
    assert said[0] == pytest.approx(83.0 + 2.0, abs=0.6)


def test_a_fed_unit_is_not_judged_nor_learnt_from() -> None:
    """Current opens it in a bath where it rests shut without."""
    bath_c = np.concatenate([cycle(0.5), cycle(0.5)])
    half = len(bath_c) // 2
    fed = np.arange(len(bath_c)) < half
    lift_mm = np.concatenate([np.full(half, 5.0), np.zeros(len(bath_c) - half)])
    inf = float("inf")
    assert told(bath_c, lift_mm, inf, fed) == []
    assert told(bath_c, lift_mm[::-1], inf, fed[::-1]) == []


def test_each_station_is_told_once() -> None:
    watch = StationWatch((True, False, *(True,) * 4), (30.0,) * 2 + (float("inf"),) * 4)
    said: list[str] = []
    for n in range(60):
        bath_c = 4.0 + n
        said += watch.take(Block(10.0 * n, 10.0 * n + 10, bath_c, bath_c, (0.5,) * 6, 0.0, UNFED))
    assert said == [
        "station 1: gauge stands at 0.50 mm where its unit must move; does gauge or valve hang?"
    ]
