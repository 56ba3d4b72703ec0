"""The set-point: a ramp as the bath can follow it, so that its corners ask nothing impossible.

The command moves at the rate asked for; the set-point is the command seen through the bath's
own delays, i.e. the reading that a bath behaving as its model would show.  Heat is fed forward
for the command, the reading is compared with the set-point: neither waits for an error.
"""

from __future__ import annotations

import math

from proofbath.control.bath_model import BathModel

TICK_S = 0.1


class Setpoint:
    """Command and set-point of the bath, in °C; `advance` once per sample."""

    def __init__(self, model: BathModel, at_c: float) -> None:
        self._lags_s = (model.heater_lag_s, model.probe_lag_s)
        self._delayed = [at_c] * (1 + round(model.dead_time_s / TICK_S))
        self.rest(at_c)

    def rest(self, at_c: float) -> None:
        """Stand still at a temperature, with nothing under way."""
        self._delayed = [at_c] * len(self._delayed)
        self._place = 0
        self._heater_c = at_c
        self._share_for_s = 0.0
        self._shares = (1.0, 1.0)
        self.command_c = at_c
        self.target_c = at_c
        self.value_c = at_c

    @property
    def at_target(self) -> bool:
        """Whether the command has reached its target."""
        return self.command_c == self.target_c

    def advance(self, rate_k_per_s: float, dt_s: float) -> float:
        """Move the command by a signed rate for `dt_s`, never past its target; return its move."""
        before_c = self.command_c
        step_k = rate_k_per_s * dt_s
        left_k = self.target_c - before_c
        self.command_c = self.target_c if abs(step_k) >= abs(left_k) else before_c + step_k
        self._follow(dt_s)
        return self.command_c - before_c

    def _follow(self, dt_s: float) -> None:
        if dt_s != self._share_for_s:
            self._share_for_s = dt_s
            first, second = (1.0 - math.exp(-dt_s / lag) if lag else 1.0 for lag in self._lags_s)
            self._shares = (first, second)
        delayed = self._delayed
        for _ in range(max(1, min(len(delayed), round(dt_s / TICK_S)))):
            delayed[self._place] = self.command_c
            self._place = (self._place + 1) % len(delayed)
        self._heater_c += self._shares[0] * (delayed[self._place] - self._heater_c)
        self.value_c += self._shares[1] * (self._heater_c - self.value_c)
