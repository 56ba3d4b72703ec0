"""What the elements are fed: which stations, and the currents that make a set value or a power.

P = I² R and U = I R with R as measured at the station without its leads; below `JUDGED_A` the
measured R says nothing and the last one stands.
"""

from __future__ import annotations

import math
from typing import Protocol

from proofbath.run.profile import AnyStep, Leg, Loading, MayFeed, PowerRamp
from proofbath.run.reading import NO_CURRENT, Reading
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


def fed(step: AnyStep, loading: Loading) -> tuple[bool, ...]:
    """Return for each station whether the step feeds its element."""
    return tuple(
        most_a > 0.0 and _wants(step, station) for station, most_a in enumerate(loading.max_a, 1)
    )


def _wants(step: AnyStep, station: int) -> bool:
    if isinstance(step, PowerRamp):
        return step.stations is None or station in step.stations
    return isinstance(step, MayFeed) and step.set_at(station) > 0.0


def stations_fed(leg: Leg) -> list[int]:
    """Return the stations (from 1) whose elements a leg feeds; none for most legs."""
    return [station for station, on in enumerate(fed(leg.step, leg.loading), 1) if on]


def set_a(step: MayFeed, station: int, ohm: float) -> float:
    """Return the current in A of a set value at an element of `ohm`; 0 where it is off."""
    value = step.set_at(station)
    return value / ohm if step.element_v is not None else value


def most_w(leg: Leg) -> tuple[float, ...]:
    """Return the greatest power in W that a leg feeds each station, by nominal resistances."""
    step, loading = leg.step, leg.loading
    fed_w = []
    for station, (on, ohm, max_a) in enumerate(
        zip(fed(step, loading), loading.ohm, loading.max_a, strict=True), 1
    ):
        if isinstance(step, PowerRamp):
            fed_w.append(step.to_w if on else 0.0)
        else:
            asked_a = set_a(step, station, ohm) if isinstance(step, MayFeed) and on else 0.0
            fed_w.append(min(asked_a, max_a) ** 2 * ohm)
    return tuple(fed_w)


class Feed(Protocol):
    """What one leg feeds the elements."""

    def currents(self, reading: Reading) -> tuple[float, ...]:
        """Return the currents for now; `NO_CURRENT` itself where none is fed."""


class NoFeed:
    """Elements are off."""

    def currents(self, _reading: Reading) -> tuple[float, ...]:
        """Return that no current flows."""
        return NO_CURRENT


class SetFeed:
    """Set currents, or the currents that give set voltages, within what each element is given."""

    def __init__(self, step: MayFeed, loading: Loading, now: Reading) -> None:
        self._step = step
        self._fed = tuple(
            a > 0.0 and step.set_at(station) > 0.0 for station, a in enumerate(loading.max_a, 1)
        )
        self._loading = loading
        self._resistance = Resistance(loading, self._fed)
        self._resistance.take(now)
        self._renewed_s = now.t_s
        self._element_a = self._currents_a()

    def currents(self, reading: Reading) -> tuple[float, ...]:
        """Return the currents for now; those of set voltages follow the resistance."""
        if self._step.element_v is not None and reading.t_s - self._renewed_s >= RENEWED_S:
            self._renewed_s = reading.t_s
            self._resistance.take(reading)
            self._element_a = self._currents_a()
        return self._element_a

    def _currents_a(self) -> tuple[float, ...]:
        stations = zip(self._fed, self._resistance.ohm, self._loading.max_a, strict=True)
        return tuple(
            min(set_a(self._step, station, ohm), most_a) if on else 0.0
            for station, (on, ohm, most_a) in enumerate(stations, 1)
        )


class Resistance:
    """Resistances of the fed elements, followed as they are measured; the first as it is."""

    def __init__(self, loading: Loading, is_fed: tuple[bool, ...]) -> None:
        self._nominal_ohm = loading.ohm
        self._fed = is_fed
        self._trust = [1.0] * STATIONS
        self.ohm = list(loading.ohm)

    def take(self, reading: Reading) -> None:
        """Take a reading; one without current, or of an absurd resistance, does not count."""
        pairs = zip(reading.element_a, reading.element_v, strict=True)
        for i, (current_a, voltage_v) in enumerate(pairs):
            if not (self._fed[i] and current_a >= JUDGED_A):
                continue
            ohm = voltage_v / current_a
            nominal_ohm = self._nominal_ohm[i]
            if nominal_ohm / _PLAUSIBLE < ohm < nominal_ohm * _PLAUSIBLE:
                self.ohm[i] += self._trust[i] * (ohm - self.ohm[i])
                self._trust[i] = _TRUST


class PowerGenerator:
    """The power of one ramp, alike for all stations, and the currents that make it.

    `closed_mm` are the lifts of the closed units, from which the full lift is counted; `asked_a`
    the currents asked for until now, from which it goes on: a source that gives less or more than
    it is asked would else begin with a jump by its own error.
    """

    def __init__(
        self,
        step: PowerRamp,
        loading: Loading,
        now: Reading,
        closed_mm: tuple[float, ...],
        asked_a: tuple[float, ...],
    ) -> None:
        self._step = step
        self._fed = fed(step, loading)
        self._loading = loading
        self._closed_mm = closed_mm
        self._resistance = Resistance(loading, self._fed)
        self._resistance.take(now)
        pairs = zip(asked_a, self._resistance.ohm, self._fed, strict=True)
        asked_w = [a * a * ohm if on else 0.0 for a, ohm, on in pairs]
        self._power_w = max(asked_w)
        falling = step.to_w < self._power_w
        # A station that was held back on the way up stays at its power until the ramp meets it.
        self._most_w = asked_w if falling else [math.inf] * STATIONS
        self._renewed_s = now.t_s
        self._element_a = self._currents_a()

    @property
    def arrived(self) -> bool:
        """Whether the power is the target's."""
        return self._power_w == self._step.to_w

    def currents(self, reading: Reading) -> tuple[float, ...]:
        """Return the currents for now; the ramp began at the power asked for already."""
        passed_s = reading.t_s - self._renewed_s
        if passed_s < RENEWED_S:
            return self._element_a
        self._renewed_s = reading.t_s
        self._resistance.take(reading)
        self._hold_back(reading)
        most_w = self._step.rate_w_per_min / 60.0 * min(passed_s, 2.0 * RENEWED_S)
        left_w = self._step.to_w - self._power_w
        there = abs(left_w) <= most_w
        self._power_w = self._step.to_w if there else self._power_w + math.copysign(most_w, left_w)
        self._element_a = self._currents_a()
        return self._element_a

    def _hold_back(self, reading: Reading) -> None:
        for i, lift_mm in enumerate(reading.lift_mm):
            opened_mm = lift_mm - self._closed_mm[i]
            if opened_mm > self._loading.full_lift_mm[i] + LIFT_SPARE_MM:
                self._most_w[i] = min(self._most_w[i], self._power_w)

    def _currents_a(self) -> tuple[float, ...]:
        stations = zip(
            self._fed, self._resistance.ohm, self._most_w, self._loading.max_a, strict=True
        )
        return tuple(
            min(most_a, math.sqrt(min(self._power_w, most_w) / ohm)) if on else 0.0
            for on, ohm, most_w, most_a in stations
        )
