"""A source that gives another current than it is set to: set lower, never higher, and told once.

The source is arithmetic: it passes a share of what it is set to.
"""

from __future__ import annotations

import pytest

from host.run.wired_bench import WET, WiredNight
from proofbath.run.states import Phase


class Off(WiredNight):
    """A night on a bench whose station 1 passes `gain` times what it is set to."""

    def __init__(self, gain: float) -> None:
        super().__init__({1: WET, 2: WET})
        self.flowed_a: list[tuple[float, float]] = []
        flow = self.bench._flow

        def off(station: int, set_a: float) -> tuple[float, float]:
            return flow(station, set_a * gain if station == 1 else set_a)

        self.bench._flow = off  # type: ignore[method-assign]

    def tick(self) -> None:
        super().tick()
        if self.sequencer.phase is Phase.ENERGISING:
            self.flowed_a.append(self.bench.element_a[:2])


@pytest.mark.parametrize("gain", [1.02, 1.1])
def test_no_more_flows_than_is_asked(gain: float) -> None:
    """The step asks for 0.9 A, the most the element may be given; its checks showed the gain."""
    night = Off(gain)
    night.run()
    most_a = max(a for a, _ in night.flowed_a)
    assert most_a <= 0.9 * 1.001
    assert night.flowed_a[-5][0] == pytest.approx(0.9, rel=0.001)


def test_a_source_that_gives_less_is_not_set_higher() -> None:
    night = Off(0.9)
    night.run()
    assert max(a for a, _ in night.flowed_a) == pytest.approx(0.81, rel=1e-6)


@pytest.mark.parametrize(
    ("gain", "said"),
    [
        (0.9, "station 1: 0.40 A flows where 0.45 A was asked; results state what flows"),
        (0.97, "station 1: 0.43 A flows where 0.45 A was asked; results state what flows"),
        (1.1, "station 1: 0.49 A flows where 0.45 A was asked; it is set lower by as much"),
        (1.03, "station 1: 0.46 A flows where 0.45 A was asked; it is set lower by as much"),
        (0.985, ""),
        (1.015, ""),
    ],
)
def test_it_is_told_once_from_a_fiftieth_on(gain: float, said: str) -> None:
    """The check's own current is the root of 3 W in 15 ohm, 0.447 A."""
    night = Off(gain)
    night.run()
    told = night.of_stations("warning")
    assert len(told) == bool(said)
    assert "".join(told).startswith(said)
    codes = [note.watch for note in night.notes if note.station == 1]
    assert codes == ([] if not said else ["current_over" if gain > 1.0 else "current_short"])


def test_a_current_that_is_switched_or_fails_is_no_wrong_source() -> None:
    night = WiredNight({1: WET, 2: WET}).until(Phase.ENERGISING)
    for _ in range(100):
        night.tick()
    del night.bench.cores[1]
    night.run()
    assert night.of_stations("warning") == []
    assert [note for note in night.notes if note.watch == "current_short"] == []
