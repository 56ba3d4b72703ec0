"""Tuning and tracking on the plant's own equations: one bath of the benchmark's population."""

from __future__ import annotations

import numpy as np
import pytest

from benchmarks.tracking import FROM_C, Rig, draw, trial, tuned
from proofbath.control.controller import BathController


def test_a_drawn_bath_is_tuned_by_its_heating_test_and_follows_its_ramps() -> None:
    """Goals of the bench: 0.03 K rms on a ramp of up to 80 % of attainable, 0.10 K overshoot."""
    seed = 1
    virtual, probe_lag_s, valve = draw(np.random.default_rng(seed))
    model = tuned(virtual, probe_lag_s, valve, seed)
    bath = virtual.bath
    # The vessel and the heater's sheath belong to what is heated; coolant 3.4-3.8 J/(kg K).
    assert 3300 < model.heat_capacity_j_per_k / bath.fill_l < 4100
    assert model.loss_w_per_k == pytest.approx(bath.loss_w_per_k, rel=0.1)
    rate = 0.7 * min(5.0, model.rise_k_per_min(95.0))
    fall = 0.5 * model.fall_k_per_min(75.0) if valve else 0.0
    result = trial(Rig(virtual, FROM_C, seed), BathController(model), rate, fall)
    assert result.rising_rms_k < 0.03
    assert result.overshoot_k < 0.10
    assert not fall or result.falling_rms_k < 0.05
