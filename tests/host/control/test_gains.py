"""Gains against the SIMC paper (S. Skogestad, J. Process Control 13 (2003) 291) and control.

The reduced models were read second hand, in a public script that quotes the paper; settings and
margins are from memory.
"""

from __future__ import annotations

import csv
import warnings
from pathlib import Path

import numpy as np
import pytest

from host.simple_bath import WORKSHOP
from proofbath.control.gains import bath_gains, half_rule, simc_pi

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import control

DATA = Path(__file__).parents[2] / "data"
# (-0.3s+1)(0.08s+1) / ((2s+1)(s+1)(0.4s+1)(0.2s+1)(0.05s+1)^3): the paper's worked example.
LAGS_S = (2.0, 1.0, 0.4, 0.2, 0.05, 0.05, 0.05)
INVERSE_S = 0.3 - 0.08


def test_half_rule_reduces_the_worked_example_to_the_papers_models() -> None:
    """Read second hand: 2.5 and 1.47; 2, 1.2 and 0.77."""
    assert half_rule(LAGS_S, INVERSE_S, keep=1)[0] == [pytest.approx(2.5)]
    assert half_rule(LAGS_S, INVERSE_S, keep=1)[1] == pytest.approx(1.47)
    assert half_rule(LAGS_S, INVERSE_S, keep=2)[0] == [2.0, pytest.approx(1.2)]
    assert half_rule(LAGS_S, INVERSE_S, keep=2)[1] == pytest.approx(0.77)


def settings_of_the_rule() -> list[tuple[float, float, float, float, float]]:
    with (DATA / "simc_examples.csv").open() as file:
        return [
            (float(r["tau1"]), float(r["theta"]), float(r["k"]), *settings)
            for r in csv.DictReader(file)
            if r["k"] == "1" and r["tau2"] == "0" and r["tau1"] not in {"0", "inf"}
            for settings in [(float(r["Kc"]), float(r["tauI"]))]
        ]


@pytest.mark.parametrize(("lag_s", "dead_s", "gain", "kc", "ti_s"), settings_of_the_rule())
def test_pi_settings_are_those_of_the_rule(
    lag_s: float, dead_s: float, gain: float, kc: float, ti_s: float
) -> None:
    """Two examples from memory, kc to two digits; the others are the rule by hand."""
    gains = simc_pi(gain, lag_s, dead_s, closed_loop_s=dead_s)
    assert gains.kp == pytest.approx(kc, rel=4e-3)
    assert gains.kp / gains.ki == pytest.approx(ti_s, rel=1e-9)


@pytest.mark.parametrize(
    ("lag_s", "case"),
    [(4.0, "first order tauI=tau1, tauc=theta"), (1e7, "integrating tauI=8theta, tauc=theta")],
)
def test_margins_are_those_of_the_paper(lag_s: float, case: str) -> None:
    """Gain and phase margin and Ms of the paper, from memory; python-control tells margins."""
    with (DATA / "simc_margins.csv").open() as file:
        row = next(r for r in csv.DictReader(file) if r["case"] == case)
    gains = simc_pi(1.0, lag_s, 1.0, closed_loop_s=1.0)
    omega = np.logspace(-2, 1, 4_000)
    s = 1j * omega
    loop = (gains.kp + gains.ki / s) * np.exp(-s) / (lag_s * s + 1)
    frequency = control.FRD(loop, omega)
    gain_margin, phase_margin, *_ = control.stability_margins(frequency)
    assert gain_margin == pytest.approx(float(row["GM_from_memory"]), abs=0.01)
    assert phase_margin == pytest.approx(float(row["PM_from_memory_deg"]), abs=0.2)
    assert np.max(1.0 / np.abs(1.0 + loop)) == pytest.approx(float(row["Ms_from_memory"]), abs=0.01)


def test_a_bath_gets_gains_that_keep_the_rules_margins_on_its_full_model() -> None:
    """Ms of the true chain of lags stays below 2, a usual bound for robustness (from memory)."""
    gains = bath_gains(WORKSHOP)
    slope = WORKSHOP.loss_w(85.5) - WORKSHOP.loss_w(84.5)
    s = 1j * np.logspace(-5, 1, 20_000)
    bath = WORKSHOP.heater_w / (WORKSHOP.heat_capacity_j_per_k * s + slope)
    chain = bath * np.exp(-s * WORKSHOP.dead_time_s)
    chain /= (WORKSHOP.heater_lag_s * s + 1) * (WORKSHOP.probe_lag_s * s + 1)
    loop = (gains.kp + gains.ki / s) * chain
    assert np.max(1.0 / np.abs(1.0 + loop)) < 2.0
