"""Cycles are found from the temperature alone, whatever noise, soaks and clipped ramps do."""

from __future__ import annotations

import numpy as np
import pytest

from host.curve.closed_form import Floats, night, ramps, record_of
from proofbath.curve.branches import Cycle, cycles_of
from proofbath.curve.samples import Samples, reduce


def split(bath_c: Floats, noise_k: float = 0.003) -> tuple[Samples, list[Cycle]]:
    record = record_of(bath_c, np.zeros(len(bath_c)), probe_noise_k=noise_k)
    samples, _ = reduce(record)
    return samples, cycles_of(samples)


@pytest.mark.parametrize("noise_k", [0.0, 0.003, 0.05, 0.5])
def test_a_night_of_three_rates_gives_three_cycles(noise_k: float) -> None:
    samples, cycles = split(night(), noise_k)
    assert len(cycles) == 3
    for cycle in cycles:
        assert samples.bath_c[cycle.top] == pytest.approx(98.7, abs=0.1 + 3 * noise_k)
        held_s = samples.t_s[cycle.fall] - samples.t_s[cycle.top]
        assert held_s == pytest.approx(354, abs=60)  # the hold and 0.3 K on either side
        assert samples.bath_c[cycle.end - 1] == pytest.approx(70, abs=0.1 + 3 * noise_k)


def test_soaks_within_a_rise_make_no_cycle() -> None:
    bath = ramps((20, 0), (70, 5), (70, 600), (84, 1), (84, 900), (95, 1), (95, 300), (70, 1))
    _, cycles = split(bath)
    assert len(cycles) == 1
    assert cycles[0].first == 0


def test_a_rise_without_hold_has_an_empty_hold() -> None:
    _, (cycle,) = split(ramps((70, 0), (95, 1), (70, 1)))
    assert cycle.top == cycle.fall
    assert cycle.rises
    assert cycle.falls


def test_only_rising_only_falling_and_constant_baths() -> None:
    _, (rise,) = split(ramps((70, 0), (95, 1)))
    assert rise.rises
    assert not rise.falls or rise.end - rise.fall <= 1
    _, (fall,) = split(ramps((95, 0), (70, 1)))
    assert not fall.rises
    assert fall.falls
    assert split(ramps((80, 0), (80, 600)))[1] == []


def test_gaps_part_the_samples_into_runs() -> None:
    record = record_of(ramps((70, 0), (95, 1)), np.zeros(15001))
    keep = (record.t_s < 300) | (record.t_s > 420)
    holed = type(record)(record.t_s[keep], record.bath_c[keep], record.lift_mm[keep])
    samples, warned = reduce(holed)
    assert [w.code for w in warned] == ["gaps"]
    assert samples.run[-1] == 1
    assert np.all(samples.run[samples.t_s < 300] == 0)
