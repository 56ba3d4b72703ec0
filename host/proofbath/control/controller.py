"""Bath control: heat fed forward for level and ramp, and a PI loop (simple-pid) for the rest."""

from __future__ import annotations

import math

from simple_pid import PID

from proofbath.control.bath_model import BathModel
from proofbath.control.gains import Gains, bath_gains
from proofbath.control.setpoint import Setpoint

LONGEST_STEP_S = 1.0
"""A gap in the samples counts as no longer than this: what was not seen is not integrated."""
_HEADROOM = 0.97
"""Part of the heater a rising ramp may plan with; the rest is the loop's."""
_GENEROUS = 1.25
"""A fall is planned this much faster than the model says: cooling costs nothing to try."""
_WAIT_FROM_K = 0.1
"""The set-point begins to wait when the reading stays behind it by more."""


def _no_time() -> float:
    return 0.0


class BathController:
    """Brings the bath's reading along a set-point; `step` once per sample gives the duty."""

    def __init__(self, model: BathModel, gains: Gains | None = None) -> None:
        self._model = model
        kp, self._ki = gains or bath_gains(model)
        self._pid = PID(kp, self._ki, 0.0, sample_time=None, time_fn=_no_time)
        self._setpoint = Setpoint(model, model.ambient_c)
        self._delay_s = model.dead_time_s + model.heater_lag_s + model.probe_lag_s
        self._rate_k_per_s = 0.0
        self.cooling = False
        self.duty = 0.0

    @property
    def setpoint_c(self) -> float:
        """The set-point in force: what the reading should be now."""
        return self._setpoint.value_c

    @property
    def command_c(self) -> float:
        """The temperature heat is fed forward for; ahead of the set-point by the delays."""
        return self._setpoint.command_c

    @property
    def passed(self) -> bool:
        """Whether the command is at its target; the reading follows after the delays."""
        return self._setpoint.at_target

    def arrived(self, bath_c: float) -> bool:
        """Return whether command, set-point and reading are all at the target."""
        target_c = self._setpoint.target_c
        return (
            self._setpoint.at_target
            and abs(self._setpoint.value_c - target_c) < 0.02
            and abs(bath_c - target_c) < 2.0 * _WAIT_FROM_K
        )

    def anchor(self, bath_c: float) -> None:
        """Let the set-point start anew from a reading, after a pause; what is learnt stays."""
        target_c = self._setpoint.target_c
        self._setpoint.rest(bath_c)
        self._setpoint.target_c = target_c

    def aim(self, to_c: float, rate_k_per_min: float) -> None:
        """Ramp from where the command is to a temperature, at most at a rate (positive)."""
        self._setpoint.target_c = to_c
        rising = to_c >= self._setpoint.command_c
        self._rate_k_per_s = rate_k_per_min / 60.0 if rising else -rate_k_per_min / 60.0
        self.cooling = False

    def stay(self) -> None:
        """Stop where the command is."""
        self._setpoint.target_c = self._setpoint.command_c

    def step(self, bath_c: float, dt_s: float) -> float:
        """Return the heater duty for a reading, `dt_s` after the last; NaN keeps the last duty."""
        if math.isnan(bath_c):
            return self.duty
        dt_s = min(dt_s, LONGEST_STEP_S)
        command_c = self._setpoint.command_c
        loss_w = self._passive_w(command_c)
        capacity = self._model.capacity_j_per_k(command_c)
        rate = self._possible_rate(loss_w, capacity, bath_c)
        forward_w = loss_w + capacity * self._setpoint.advance(rate, dt_s) / dt_s
        forward = min(1.0, max(0.0, forward_w / self._model.heater_w))
        self.duty = forward + self._correction(forward, bath_c, dt_s)
        return self.duty

    def _passive_w(self, command_c: float) -> float:
        """Heat the bath gives away; opens the valve once the fall asked for needs it."""
        model = self._model
        loss_w = model.loss_w(command_c)
        if self._setpoint.at_target:
            self.cooling = False
        elif self._rate_k_per_s < 0.0 and model.cooling_w_per_k:
            wanted_w = -self._rate_k_per_s * model.capacity_j_per_k(command_c)
            self.cooling = self.cooling or wanted_w > loss_w
        return loss_w + model.cooling_w(command_c) if self.cooling else loss_w

    def _possible_rate(self, passive_w: float, capacity: float, bath_c: float) -> float:
        """The rate asked for, as far as the bath can; less while the reading is left behind."""
        rate = self._rate_k_per_s
        if rate > 0.0:
            rate = min(rate, max(0.0, (_HEADROOM * self._model.heater_w - passive_w) / capacity))
            behind_k = self._setpoint.value_c - bath_c
        else:
            rate = max(rate, min(0.0, -_GENEROUS * passive_w / capacity))
            behind_k = bath_c - self._setpoint.value_c
        if behind_k <= _WAIT_FROM_K:
            return rate
        # Slower than the delays turn round, or waiting would swing.
        band_k = max(_WAIT_FROM_K, 2.0 * self._delay_s * abs(rate))
        return rate * max(0.0, 1.0 - (behind_k - _WAIT_FROM_K) / band_k)

    def _correction(self, forward: float, bath_c: float, dt_s: float) -> float:
        """The loop's part; its limits follow the feed-forward, saturation stops its memory."""
        pid = self._pid
        error_k = self._setpoint.value_c - bath_c
        held = (self.duty > 0.999 and error_k > 0.0) or (self.duty < 0.001 and error_k < 0.0)
        pid.Ki = 0.0 if held else self._ki
        pid.output_limits = (-forward, 1.0 - forward)
        pid.setpoint = self._setpoint.value_c
        return pid(bath_c, dt=dt_s) or 0.0
