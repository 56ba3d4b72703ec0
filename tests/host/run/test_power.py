"""Element currents: set values, slow power ramps by the measured resistance, faults of one."""

from __future__ import annotations

import math

import numpy as np
import pytest

from host.run.night import Night
from host.run.workshop import ASSISTED, POWERED
from proofbath.run.profile import Energise, PowerRamp, Soak, Step
from proofbath.run.reading import NO_CURRENT
from proofbath.run.states import Phase
from proofbath.wire.table import StationFlag


class Elements:
    """Element heaters whose true resistance is known; carry what the last demand asked."""

    def __init__(self, night: Night, ohm: tuple[float, ...]) -> None:
        self.night = night
        self.ohm = ohm

    def tick(self) -> None:
        demand = self.night.bench.demand
        asked = demand.element_a if demand else NO_CURRENT
        self.night.bench.element_a = asked
        self.night.bench.element_v = tuple(a * r for a, r in zip(asked, self.ohm, strict=True))
        self.night.tick()

    def power_w(self) -> list[float]:
        asked = self.night.bench.demand.element_a if self.night.bench.demand else NO_CURRENT
        return [a * a * r for a, r in zip(asked, self.ohm, strict=True)]


def test_set_currents_go_to_all_elements_at_once_and_to_no_plain_unit() -> None:
    night = Night(POWERED, loading=ASSISTED).until(Phase.ENERGISING)
    night.tick()
    assert night.bench.demand is not None
    assert night.bench.demand.element_a == (0.3,) * 5 + (0.0,)


def test_a_step_may_name_its_stations() -> None:
    steps: list[Step] = [Soak(to_c=38.5, at_least_s=60.0), Energise(element_a=0.5, stations=[2, 6])]
    night = Night(steps, loading=ASSISTED).until(Phase.ENERGISING)
    night.tick()
    assert night.bench.demand is not None
    assert night.bench.demand.element_a == (0.0, 0.5, 0.0, 0.0, 0.0, 0.0)


def test_a_power_ramp_follows_its_line_whatever_the_elements_resistance() -> None:
    """P = I² R with the true R of each element, off nominal by up to 10 %."""
    steps: list[Step] = [
        Soak(to_c=38.5, at_least_s=60.0),
        PowerRamp(to_w=6.0, rate_w_per_min=1.0),
        PowerRamp(to_w=0.0, rate_w_per_min=2.0),
    ]
    night = Night(steps, loading=ASSISTED).until(Phase.ENERGISING)
    elements = Elements(night, (13.5, 14.0, 15.0, 16.0, 16.5, 15.0))
    begun = night.bench.tick_count
    while night.sequencer.leg == 1:
        elements.tick()
        minutes = (night.bench.tick_count - begun) / 600
        if minutes > 1.0:
            for power_w in elements.power_w()[:5]:
                assert power_w == pytest.approx(min(minutes, 6.0), abs=0.06)
        assert elements.power_w()[5] == 0.0
    assert (night.bench.tick_count - begun) / 600 == pytest.approx(6.0, abs=0.05)
    while not night.sequencer.ended:
        elements.tick()
    assert (night.bench.tick_count - begun) / 600 == pytest.approx(9.0, abs=0.1)


def test_currents_never_pass_the_types_greatest() -> None:
    steps: list[Step] = [
        Soak(to_c=38.5, at_least_s=60.0),
        PowerRamp(to_w=14.0, rate_w_per_min=10.0),
    ]
    night = Night(steps, loading=ASSISTED).until(Phase.ENERGISING)
    elements = Elements(night, (15.0,) * 6)
    most_a = 0.0
    while not night.sequencer.ended:
        elements.tick()
        if night.bench.demand:
            most_a = max(most_a, *night.bench.demand.element_a)
    assert most_a == 0.9


def test_a_flagged_station_is_fed_no_more_and_the_others_go_on() -> None:
    night = Night(POWERED, loading=ASSISTED).until(Phase.ENERGISING)
    night.bench.station_flags = (0, StationFlag.ELEMENT_OPEN, 0, 0, 0, 0)
    night.tick()
    night.bench.station_flags = (0,) * 6
    night.tick()
    assert night.bench.demand is not None
    assert night.bench.demand.element_a == (0.3, 0.0, 0.3, 0.3, 0.3, 0.0)
    night.until(Phase.DONE)
    assert "station 2: element_open" in night.warned()[0].text


def test_a_unit_at_its_full_lift_is_given_no_more_power_and_comes_down_from_there() -> None:
    steps: list[Step] = [
        Soak(to_c=38.5, at_least_s=60.0),
        PowerRamp(to_w=8.0, rate_w_per_min=2.0),
        PowerRamp(to_w=0.0, rate_w_per_min=2.0),
    ]
    full = ASSISTED._replace(full_lift_mm=(8.0,) * 6)
    night = Night(steps, loading=full).until(Phase.ENERGISING)
    elements = Elements(night, (15.0,) * 6)
    fed: list[list[float]] = []
    while not night.sequencer.ended:
        power_w = elements.power_w()
        # Station 2 opens by 2 mm a watt, the others by 0.5.
        night.bench.lift_mm = tuple(
            0.5 + (2.0 if i == 1 else 0.5) * w for i, w in enumerate(power_w)
        )
        elements.tick()
        fed.append(elements.power_w())
    second, third = np.array(fed).T[1:3]
    assert second.max() == pytest.approx(8.3 / 2.0, abs=0.1)
    assert third.max() == pytest.approx(8.0, abs=0.05)
    down = np.flatnonzero(third == third.max())[-1]
    falling = slice(down + 50, None)
    assert np.allclose(second[falling], np.minimum(second.max(), third[falling]), atol=0.06)


def test_an_absurd_resistance_is_not_believed() -> None:
    steps: list[Step] = [
        Soak(to_c=38.5, at_least_s=60.0),
        PowerRamp(to_w=2.0, rate_w_per_min=2.0),
    ]
    night = Night(steps, loading=ASSISTED).until(Phase.ENERGISING)
    elements = Elements(night, (150.0,) * 6)
    while not night.sequencer.ended:
        elements.tick()
        if night.bench.demand:
            assert night.bench.demand.element_a[0] <= math.sqrt(2.0 / 15.0) + 1e-9


def test_a_run_tells_in_its_notes_what_it_set() -> None:
    steps: list[Step] = [
        Soak(to_c=38.5, at_least_s=60.0),
        Energise(element_a=0.5, stations=[2], at_least_s=20.0, at_most_s=30.0),
        Energise(element_v=6.0, at_least_s=20.0, at_most_s=30.0),
        PowerRamp(to_w=0.0, rate_w_per_min=5.0),
    ]
    night = Night(steps, loading=ASSISTED).until(Phase.DONE)
    begun = [note for note in night.notes if note.code == "step_begin"]
    nothing, by_power = (None, None), ((None,) * 6, None)
    found = [(note.set_a, note.set_v) for note in begun]
    assert found == [
        nothing,
        ((0.0, 0.5, 0.0, 0.0, 0.0, 0.0), None),
        ((None,) * 6, (6.0,) * 6),
        by_power,
    ]
