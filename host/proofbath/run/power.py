"""Power of the elements: which stations are fed, and the current that gives a power.

P = I² R with R = U / I as measured at the station; below `JUDGED_A` the measured R says nothing
and the last one stands.
"""

from __future__ import annotations

import math

from proofbath.run.profile import Energise, Loading, PowerRamp
from proofbath.run.reading import Reading
from proofbath.wire.table import STATIONS

JUDGED_A = 0.1
RENEWED_S = 1.0
"""Currents are set anew this often."""
LIFT_SPARE_MM = 0.3
"""A unit that has opened its full lift and this is given no more power."""
_TRUST = 0.2
"""Share of a new resistance in the kept one."""
_PLAUSIBLE = 2.0
"""A measured resistance further off than this factor is a fault, not an element."""


def fed(step: Energise | PowerRamp, loading: Loading) -> tuple[bool, ...]:
    """Return for each station whether the step feeds its element."""
    return tuple(
        most_a > 0.0 and (step.stations is None or station in step.stations)
        for station, most_a in enumerate(loading.max_a, 1)
    )


class PowerGenerator:
    """The power of one ramp, alike for all stations, and the currents that make it.

    `closed_mm` are the lifts of the closed units, from which the full lift is counted.
    """

    def __init__(
        self, step: PowerRamp, loading: Loading, now: Reading, closed_mm: tuple[float, ...]
    ) -> None:
        self._step = step
        self._fed = fed(step, loading)
        self._loading = loading
        self._closed_mm = closed_mm
        self._ohm = list(loading.ohm)
        self._measure(now, trust=1.0)
        flowing_w = [self._flowing_w(now, i) for i in range(STATIONS)]
        self._power_w = max(flowing_w)
        falling = step.to_w < self._power_w
        # A station that was held back on the way up stays at its power until the ramp meets it.
        self._most_w = flowing_w if falling else [math.inf] * STATIONS
        self._renewed_s = now.t_s
        self._element_a = self._currents_a()

    @property
    def arrived(self) -> bool:
        """Whether the power is the target's."""
        return self._power_w == self._step.to_w

    def currents(self, reading: Reading) -> tuple[float, ...]:
        """Return the currents for now; the ramp began at the power that flowed already."""
        passed_s = reading.t_s - self._renewed_s
        if passed_s < RENEWED_S:
            return self._element_a
        self._renewed_s = reading.t_s
        self._measure(reading, _TRUST)
        self._hold_back(reading)
        most_w = self._step.rate_w_per_min / 60.0 * min(passed_s, 2.0 * RENEWED_S)
        left_w = self._step.to_w - self._power_w
        there = abs(left_w) <= most_w
        self._power_w = self._step.to_w if there else self._power_w + math.copysign(most_w, left_w)
        self._element_a = self._currents_a()
        return self._element_a

    def _measure(self, reading: Reading, trust: float) -> None:
        pairs = zip(reading.element_a, reading.element_v, strict=True)
        for i, (current_a, voltage_v) in enumerate(pairs):
            if not (self._fed[i] and current_a >= JUDGED_A):
                continue
            ohm = voltage_v / current_a
            nominal_ohm = self._loading.ohm[i]
            if nominal_ohm / _PLAUSIBLE < ohm < nominal_ohm * _PLAUSIBLE:
                self._ohm[i] += trust * (ohm - self._ohm[i])

    def _hold_back(self, reading: Reading) -> None:
        for i, lift_mm in enumerate(reading.lift_mm):
            opened_mm = lift_mm - self._closed_mm[i]
            if opened_mm > self._loading.full_lift_mm[i] + LIFT_SPARE_MM:
                self._most_w[i] = min(self._most_w[i], self._power_w)

    def _flowing_w(self, reading: Reading, i: int) -> float:
        current_a = reading.element_a[i]
        return (
            current_a * current_a * self._ohm[i] if self._fed[i] and current_a >= JUDGED_A else 0.0
        )

    def _currents_a(self) -> tuple[float, ...]:
        return tuple(
            min(most_a, math.sqrt(min(self._power_w, most_w) / ohm)) if on else 0.0
            for on, ohm, most_w, most_a in zip(
                self._fed, self._ohm, self._most_w, self._loading.max_a, strict=True
            )
        )
