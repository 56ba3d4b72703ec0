"""A bench supply led from station to station: no switch ever moves under current.

The rule is common practice for relays (break before make, without load); no source.
"""

from __future__ import annotations

from math import nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from proofbath.errors import BenchFaultError, InputError
from proofbath.run.one_at_a_time import (
    FALL_PATIENCE_S,
    KEEP_CLOSED_A,
    RESIDUE_A,
    SWITCH_S,
    Contact,
    Feed,
    Feeder,
    SupplyReading,
)
from proofbath.run.reading import NO_CURRENT

TICK_S = 0.1
QUIET = SupplyReading(0.0, 0, 0.0, 0.0, 0.0)


def asked(station: int, current_a: float) -> tuple[float, ...]:
    return tuple(current_a if n == station else 0.0 for n in range(1, 7))


class LaggingSupply:
    """Obeys an order some ticks late; its current then falls or rises by a first-order lag."""

    def __init__(self, delay_ticks: int) -> None:
        self._orders = [(0, 0.0)] * (delay_ticks + 1)
        self.current_a = 0.0

    def tick(self, feed: Feed) -> SupplyReading:
        self._orders = [*self._orders[1:], (feed.order, feed.supply_a)]
        order, set_a = self._orders[0]
        self.current_a += (set_a - self.current_a) * 0.6
        return SupplyReading(0.0, order, set_a, self.current_a, 15.0 * self.current_a)


def closed(feed: Feed, live: bool) -> int:
    """Return the station whose switch the controller closes (set-point above 0), or 0."""
    stations = [n for n, a in enumerate(feed.element_a, 1) if a > 0.0]
    assert len(stations) <= 1
    return stations[0] if live and stations else 0


wishes = st.tuples(st.integers(0, 6), st.floats(0.1, 1.2), st.integers(1, 40))


@given(st.lists(wishes, min_size=1, max_size=8), st.integers(0, 6))
def test_switches_move_only_without_current_and_break_before_make(
    plan: list[tuple[int, float, int]], delay_ticks: int
) -> None:
    feeder, supply, reading = Feeder(), LaggingSupply(delay_ticks), QUIET
    t_s, was, moved_s = 0.0, 0, -9.0
    for station, current_a, ticks in [*plan, (3, 0.9, 60)]:
        for _ in range(ticks):
            t_s += TICK_S
            feed = feeder.step(t_s, True, asked(station, current_a), reading)
            now = closed(feed, True)
            if now != was:
                assert supply.current_a <= RESIDUE_A
                assert not (was and now)
                if now:
                    assert now == station
                    assert t_s - moved_s >= SWITCH_S - 1e-9
                was, moved_s = now, t_s
            if feed.supply_a > 0.0:
                assert (now, feed.supply_a) == (station, current_a)
                assert t_s - moved_s >= SWITCH_S - 1e-9
            reading = supply.tick(feed)
    assert supply.current_a == pytest.approx(0.9, abs=1e-3)


def test_station_gets_its_current_and_changes_of_it_at_once() -> None:
    feeder, supply, reading = Feeder(), LaggingSupply(1), QUIET
    for n in range(20):
        reading = supply.tick(feeder.step(n * TICK_S, True, asked(2, 0.8), reading))
    assert feeder.contact is Contact.FED
    assert reading.current_a == pytest.approx(0.8, abs=1e-3)
    feed = feeder.step(2.0, True, asked(2, 0.5), reading)
    assert (feed.supply_a, feed.element_a) == (0.5, asked(2, 0.5))


def test_controller_that_is_not_live_has_opened_and_starts_anew() -> None:
    feeder, supply, reading = Feeder(), LaggingSupply(0), QUIET
    for n in range(20):
        feed = feeder.step(n * TICK_S, True, asked(2, 0.8), reading)
        reading = supply.tick(feed)
    feed = feeder.step(2.0, False, asked(2, 0.8), reading)
    assert (feed.supply_a, feed.element_a) == (0.0, NO_CURRENT)
    # Live again at once, the supply has not yet said that its current is gone.
    assert feeder.step(2.1, True, asked(2, 0.8), reading).element_a == NO_CURRENT
    reading = SupplyReading(0.0, feed.order, 0.0, 0.0, 0.0)
    assert feeder.step(2.2, True, asked(2, 0.8), reading).element_a == asked(2, KEEP_CLOSED_A)


@pytest.mark.parametrize("stuck", [(1, 0.0, 0.3), (1, 0.0, nan), (0, 0.0, 0.0), (1, 0.8, 0.0)])
def test_current_that_does_not_fall_keeps_the_switch_and_ends_the_run(
    stuck: tuple[int, float, float],
) -> None:
    feeder, reading = Feeder(), QUIET
    for n in range(20):
        feed = feeder.step(n * TICK_S, True, asked(2, 0.8), reading)
        reading = SupplyReading(0.0, feed.order, feed.supply_a, feed.supply_a, 0.0)
    fed_order = feed.order
    after, set_a, current_a = stuck
    reading = SupplyReading(0.0, fed_order + after, set_a, current_a, 0.0)
    assert feeder.step(2.0, True, asked(5, 0.8), reading)[1:] == (0.0, asked(2, KEEP_CLOSED_A))
    last = feeder.step(2.0 + FALL_PATIENCE_S, True, asked(5, 0.8), reading)
    assert last.element_a == asked(2, KEEP_CLOSED_A)
    with pytest.raises(BenchFaultError, match="at station 2 10 s after 0 A was asked"):
        feeder.step(2.1 + FALL_PATIENCE_S, True, asked(5, 0.8), reading)


def test_two_stations_at_once_are_refused() -> None:
    with pytest.raises(InputError, match="stations 1, 4 want current at once"):
        Feeder().step(0.0, True, (0.5, 0.0, 0.0, 0.5, 0.0, 0.0), QUIET)
