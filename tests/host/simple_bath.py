"""A bath for tests of control and sequencer: a heater lag, a dead time, one capacity, a probe lag.

Stands in for the plant where a test wants to know the bath exactly; integrated every 0.1 s.
"""

from __future__ import annotations

import math
import random
from collections import deque

from proofbath.control.bath_model import BathModel
from proofbath.run.reading import Demand, Reading
from proofbath.wire.table import Input, State, TripReason

TICK_S = 0.1
WORKSHOP = BathModel(
    heat_capacity_j_per_k=31_000,
    loss_w_per_k=1.8,
    evaporation_w_at_90c=90,
    ambient_c=22,
    heater_w=1500,
    dead_time_s=6,
    heater_lag_s=10,
    probe_lag_s=6,
)
"""8 l and 1.5 kW under a lid; falls by 0.42 K/min at 90 °C."""


class SimpleBath:
    """The true bath behind a `BathModel`'s equations."""

    def __init__(self, model: BathModel, bath_c: float = 22.0, noise_k: float = 0.0) -> None:
        self.model = model
        self.bath_c = self.probe_c = bath_c
        self.heater_w = 0.0
        self._under_way = deque([0.0] * (1 + round(model.dead_time_s / TICK_S)))
        self._noise = random.Random(1)
        self._noise_k = noise_k
        self._remainder = 0.0

    def tick(self, duty: float, cooling: bool = False) -> float:
        """Advance by 0.1 s with the heater decided once per tick; return the probe's reading."""
        model = self.model
        self._remainder += duty
        on = self._remainder >= 1.0
        self._remainder -= on
        lag_s = max(model.heater_lag_s, TICK_S)
        self.heater_w += (on * model.heater_w - self.heater_w) * -math.expm1(-TICK_S / lag_s)
        self._under_way.append(self.heater_w)
        power_w = self._under_way.popleft() - model.loss_w(self.bath_c)
        if cooling:
            power_w -= model.cooling_w(self.bath_c)
        self.bath_c += power_w * TICK_S / model.capacity_j_per_k(self.bath_c)
        lag_s = max(model.probe_lag_s, TICK_S)
        self.probe_c += (self.bath_c - self.probe_c) * -math.expm1(-TICK_S / lag_s)
        noise_k = self._noise.gauss(0.0, self._noise_k) if self._noise_k else 0.0
        return self.probe_c + noise_k


class SimpleBench:
    """A `SimpleBath` that answers demands with readings, as controller and calibration would."""

    def __init__(self, model: BathModel = WORKSHOP, bath_c: float = 22.0) -> None:
        self.bath = SimpleBath(model, bath_c, noise_k=0.004)
        self.tick_count = 0
        self.state = State.READY
        self.trip_reason = TripReason.NONE
        self.inputs = Input.STIRRER_TURNING | Input.LEVEL_OK | Input.EMERGENCY_STOP_CLOSED
        self.lift_mm = (0.5,) * 6
        self.element_a = self.element_v = (0.0,) * 6
        self.heater_on_s = 0.0
        self.guard_offset_k = 0.0
        self.least_duty = 0.0
        self.station_flags: tuple[int, ...] = (0,) * 6
        self.stuck_mm: dict[int, float] = {}
        self.demand: Demand | None = None

    def reading(self) -> Reading:
        """Advance one tick under the demand in force and return its reading."""
        self.tick_count += 1
        demand = self.demand
        live = demand is not None and self.state is State.LIVE
        duty = max(self.least_duty, demand.duty) if demand and live else 0.0
        self.heater_on_s += duty * TICK_S
        bath_c = self.bath.tick(duty, bool(demand and live and demand.cooling))
        return Reading(
            t_s=self.tick_count * TICK_S,
            sequence=self.tick_count,
            state=self.state,
            trip_reason=self.trip_reason,
            bath_c=bath_c,
            guard_c=bath_c + self.guard_offset_k,
            lift_mm=self._lifts(bath_c),
            element_a=self.element_a,
            element_v=self.element_v,
            heater_on_s=self.heater_on_s,
            duty=duty,
            station_flags=self.station_flags,
            inputs=self.inputs,
            outputs=0,
            missing=0,
        )

    def _lifts(self, bath_c: float) -> tuple[float, ...]:
        """Living gauges: their fixture expands, their last digit moves."""
        alive_mm = 0.0005 * (bath_c - 20.0) + 0.0012 * (self.tick_count % 3)
        return tuple(
            self.stuck_mm.get(station, lift_mm + alive_mm)
            for station, lift_mm in enumerate(self.lift_mm, 1)
        )

    def take(self, demand: Demand | None) -> None:
        """Take a demand as the controller would: it goes live."""
        self.demand = demand
        if demand is not None and self.state is State.READY:
            self.state = State.LIVE
