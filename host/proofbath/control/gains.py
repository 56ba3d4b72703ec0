"""PI gains from a bath model by the SIMC rules.

A derivative would only pass on the probe's last digit: the feed-forward knows the ramp already.

S. Skogestad, "Simple analytic rules for model reduction and PID controller tuning",
J. Process Control 13 (2003) 291-309.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from proofbath.control.bath_model import BathModel

LEAST_DEAD_TIME_S = 2.0
"""Faster control than this would only pass on the probe's noise."""


class Gains(NamedTuple):
    """Gains of the loop: output per K and per K s of error."""

    kp: float
    ki: float


def half_rule(lags_s: Sequence[float], dead_time_s: float, keep: int) -> tuple[list[float], float]:
    """Return the `keep` largest lags and the effective dead time, in seconds.

    The largest neglected lag goes half to the dead time and half to the smallest kept one, the
    others go to the dead time; an inverse response counts as dead time beforehand.
    """
    ordered = sorted(lags_s, reverse=True)
    kept, rest = ordered[:keep], ordered[keep:]
    if rest:
        kept[-1] += rest[0] / 2.0
        dead_time_s += rest[0] / 2.0 + sum(rest[1:])
    return kept, dead_time_s


def simc_pi(gain: float, lag_s: float, dead_time_s: float, closed_loop_s: float) -> Gains:
    """Return PI gains for gain * exp(-dead time s) / (lag s + 1)."""
    kc = lag_s / (gain * (closed_loop_s + dead_time_s))
    return Gains(kc, kc / min(lag_s, 4.0 * (closed_loop_s + dead_time_s)))


def bath_gains(model: BathModel, at_c: float = 85.0) -> Gains:
    """Return PI gains in heater duty per kelvin for a bath, closed loop as slow as its delay."""
    slope_w_per_k = (model.loss_w(at_c + 0.5) - model.loss_w(at_c - 0.5)) or 1e-3
    lags_s = (model.heat_capacity_j_per_k / slope_w_per_k, model.heater_lag_s, model.probe_lag_s)
    (lag_s,), dead_time_s = half_rule(lags_s, model.dead_time_s, keep=1)
    dead_time_s = max(dead_time_s, LEAST_DEAD_TIME_S)
    return simc_pi(model.heater_w / slope_w_per_k, lag_s, dead_time_s, dead_time_s)
