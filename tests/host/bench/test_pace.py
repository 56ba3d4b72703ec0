"""A virtual bench at a multiple of life speed, by a clock that only waiting moves."""

from __future__ import annotations

import pytest

from proofbath.bench.virtual_port import Pace, VirtualPort
from proofbath.virtual.bench import VirtualBench
from proofbath.virtual.description import VirtualSection


class Clock:
    """Moves by what is waited, and by what the computer is said to be busy."""

    def __init__(self) -> None:
        self.now_s = 50.0
        self.waits: list[float] = []

    def wall_s(self) -> float:
        return self.now_s

    def wait(self, for_s: float) -> None:
        self.waits.append(for_s)
        self.now_s += for_s


@pytest.mark.parametrize("speed", [1.0, 20.0, 500.0])
def test_a_minute_of_the_bench_takes_its_share_of_a_minute(speed: float) -> None:
    clock = Clock()
    port = VirtualPort(VirtualBench(VirtualSection()), Pace(speed, clock.wall_s, clock.wait))
    for _ in range(600):
        port.read()
    assert port.now_s() == pytest.approx(60.0)
    assert clock.now_s - 50.0 == pytest.approx(60.0 / speed, abs=0.0021)


def test_a_short_delay_is_made_up_for_and_a_long_sleep_is_not() -> None:
    clock = Clock()
    pace = Pace(1.0, clock.wall_s, clock.wait)
    pace.tick()
    clock.now_s += 0.5
    for _ in range(5):
        pace.tick()
    assert clock.waits == [pytest.approx(0.1)]  # five ticks were due
    clock.now_s += 3600.0
    began_s = clock.now_s
    for _ in range(100):
        pace.tick()
    assert clock.now_s - began_s == pytest.approx(9.0, abs=0.11)  # a second is made up for


def test_the_bench_file_says_the_speed() -> None:
    assert VirtualBench(VirtualSection(speed=20.0)).speed == 20.0
    assert VirtualBench(VirtualSection()).speed is None
