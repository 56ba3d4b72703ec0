"""Is the heat plausible?  The bath's rise against the energy balance of its model."""

from __future__ import annotations

import math
from collections import deque

from proofbath.control.bath_model import BathModel
from proofbath.run.blocks import BLOCK_S, Block
from proofbath.wire.watches import Watch

WINDOW_BLOCKS = 30
MISSING_SHARE = 0.4
"""Share of the heater's energy that may be missing from the bath ..."""
MISSING_K = 0.5
"""... plus this, before the run is ended."""
DRIFT_SHARE = 0.15
"""Change of the heat capacity between rises that means a changed filling."""
_LEAST_HEAT_K = 1.0
"""With less heat in a window only the losses would be judged."""
_LEAST_RISE_K = 5.0


class HeatWatch:
    """Follows blocks; says when heat goes in and the bath does not follow."""

    def __init__(self, model: BathModel) -> None:
        self._model = model
        delay_s = model.dead_time_s + model.heater_lag_s + model.probe_lag_s
        self._late = math.ceil(delay_s / BLOCK_S)
        """Blocks by which the bath's reading answers late to the heat."""
        self._blocks: deque[Block] = deque(maxlen=WINDOW_BLOCKS + 1 + self._late)
        self._passive_j: deque[float] = deque(maxlen=WINDOW_BLOCKS)
        self._first_capacity: float | None = None
        self._rise: _Rise | None = None

    def take(self, block: Block, cooling: bool) -> str:
        """Return why the run must end, or nothing; with the valve open it is not judged."""
        if cooling or math.isnan(block.bath_c) or self._gap_before(block):
            self._forget()
        if cooling or math.isnan(block.bath_c):
            return ""
        passive_j = self._model.loss_w(block.bath_c) * (block.to_s - block.from_s)
        if self._blocks:
            self._passive_j.append(passive_j)
        self._blocks.append(block)
        if self._rise is not None:
            self._rise.passive_j += passive_j
        return self._judge() if len(self._blocks) == self._blocks.maxlen else ""

    def rise_begins(self, bath_c: float, heater_on_s: float) -> None:
        """A rising ramp begins: its energy will tell the heat capacity."""
        self._rise = _Rise(bath_c, heater_on_s)

    def rise_ends(self, bath_c: float, heater_on_s: float) -> str:
        """Return a warning when the heat capacity has drifted since the first rise."""
        rise, self._rise = self._rise, None
        if rise is None or bath_c - rise.from_c < _LEAST_RISE_K:
            return ""
        heater_j = (heater_on_s - rise.from_on_s) * self._model.heater_w
        capacity = (heater_j - rise.passive_j) / (bath_c - rise.from_c)
        if self._first_capacity is None:
            self._first_capacity = capacity
            return ""
        change = capacity / self._first_capacity - 1.0
        if abs(change) <= DRIFT_SHARE:
            return ""
        return Watch.CAPACITY_CHANGED.say(
            change_percent=100 * change, limit_percent=100 * DRIFT_SHARE
        )

    def _forget(self) -> None:
        self._blocks.clear()
        self._passive_j.clear()

    def _gap_before(self, block: Block) -> bool:
        return bool(self._blocks) and block.from_s != self._blocks[-1].to_s

    def _judge(self) -> str:
        first, last = self._blocks[self._late], self._blocks[-1]
        heater_on_s = self._blocks[-1 - self._late].heater_on_s - self._blocks[0].heater_on_s
        heater_j = heater_on_s * self._model.heater_w
        capacity = self._model.capacity_j_per_k((first.bath_c + last.bath_c) / 2.0)
        expected_k = (heater_j - sum(self._passive_j)) / capacity
        rose_k = last.bath_c - first.bath_c
        missing_k = expected_k - rose_k
        heat_k = heater_j / capacity
        if heat_k < _LEAST_HEAT_K or missing_k <= MISSING_K + MISSING_SHARE * heat_k:
            return ""
        window_min = WINDOW_BLOCKS * BLOCK_S / 60
        return Watch.HEAT_MISSING.say(rose_k=rose_k, window_min=window_min, expected_k=expected_k)


class _Rise:
    def __init__(self, from_c: float, from_on_s: float) -> None:
        self.from_c = from_c
        self.from_on_s = from_on_s
        self.passive_j = 0.0
