"""How elements are checked, and how the controller is given what it guards them by."""

from __future__ import annotations

import math

from proofbath.control.controller import BathController
from proofbath.run.element_check import Meter, Warming, base_a, check_a
from proofbath.run.execution import Execution, Start
from proofbath.run.profile import ElementCheck, ElementGuard, Leg
from proofbath.run.reading import NO_CURRENT, Reading
from proofbath.run.states import Kind
from proofbath.wire.table import State
from proofbath.wire.watches import Watch

FLOWS = 0.9
"""Share of the current asked from which it counts as flowing."""
FLOW_PATIENCE_S = 15.0
"""A source may take so long until the current flows."""
GUARD_PATIENCE_S = 20.0


class Checking(Execution[ElementCheck]):
    """Feeds a check's current and measures; begins anew after a pause or a break of the link."""

    kind = Kind.NEXT_CHECK

    def __init__(self, leg: Leg, step: ElementCheck, bath: BathController, start: Start) -> None:
        super().__init__(leg, step, bath, start)
        self._elements = start.elements

    def aim(self) -> None:
        """Stay at the bath of now, and measure from the beginning."""
        self.bath.stay()
        self.element_a = NO_CURRENT
        self._from_s = math.nan
        self._base_s: dict[int, float] = {}
        self._flows_s: dict[int, float] = {}
        self._meters = {station: Meter() for station in self.step.stations}

    def feed(self, reading: Reading) -> None:
        """The check's own currents, by what it measures."""

    def over(self, reading: Reading) -> bool:
        """Over when every element was fed for the check's time, or could not be."""
        if math.isnan(self._from_s):
            self._from_s = reading.t_s
        passed_s = reading.t_s - self._from_s - self.step.rest_s
        if passed_s < 0.0:
            return False
        for station, meter in self._meters.items():
            self._measure(station, meter, reading)
        wanted = [n for n in self._meters if self._goes_on(n, reading.t_s, passed_s)]
        self.element_a = self._asked_a(wanted, reading.t_s) if wanted else NO_CURRENT
        return not wanted

    def found(self) -> dict[int, Warming | None]:
        """Return what was found at each station; None where no current flowed."""
        return {station: meter.warming() for station, meter in self._meters.items()}

    @property
    def brief(self) -> bool:
        """Whether this check is too short to tell a dry element."""
        return not self.step.current_s

    def _measure(self, station: int, meter: Meter, reading: Reading) -> None:
        current_a = reading.element_a[station - 1]
        asked_a = self.element_a[station - 1]
        if not (asked_a > 0.0 and current_a >= FLOWS * asked_a):
            return
        voltage_v = reading.element_v[station - 1]
        if self._at_base(station, reading.t_s):
            since_s = self._base_s.setdefault(station, reading.t_s)
            meter.take_base(reading.t_s - since_s, reading.bath_c, current_a, voltage_v)
        elif current_a > self._base_a(station) / FLOWS:
            since_s = self._flows_s.setdefault(station, reading.t_s)
            meter.take(reading.t_s - since_s, current_a, voltage_v)

    def _at_base(self, station: int, t_s: float) -> bool:
        return t_s - self._base_s.get(station, t_s) < self.step.base_s

    def _goes_on(self, station: int, t_s: float, passed_s: float) -> bool:
        """Whether a station is still to be fed in this check."""
        if not self._elements.may_feed[station - 1] or self._meters[station].hasty:
            return False
        base_s = self._base_s.get(station)
        if base_s is None:
            return passed_s <= FLOW_PATIENCE_S
        if t_s - base_s < self.step.base_s:
            return True
        late_s = t_s - base_s - self.step.base_s
        since_s = t_s - self._flows_s.get(station, t_s)
        return since_s < self.step.current_s and late_s < self.step.current_s + FLOW_PATIENCE_S

    def _base_a(self, station: int) -> float:
        loading = self.leg.loading
        return base_a(loading.max_a[station - 1], loading.ohm[station - 1])

    def _asked_a(self, wanted: list[int], t_s: float) -> tuple[float, ...]:
        asked_a = list(NO_CURRENT)
        loading = self.leg.loading
        for station in wanted:
            max_a, ohm = loading.max_a[station - 1], loading.ohm[station - 1]
            at_base = self._at_base(station, t_s)
            asked_a[station - 1] = self._base_a(station) if at_base else check_a(max_a, ohm)
        return tuple(asked_a)


class Guarding(Execution[ElementGuard]):
    """Waits, with everything given back, until the controller has taken the coefficients."""

    kind = Kind.NEXT_GUARD

    def __init__(self, leg: Leg, step: ElementGuard, bath: BathController, start: Start) -> None:
        super().__init__(leg, step, bath, start)
        self._elements = start.elements

    @property
    def gives_back(self) -> bool:
        """Whether the controller has still to take them: it does so only without heat."""
        return self._elements.in_force != self._elements.guard

    def over(self, reading: Reading) -> bool:
        """Over when the controller guards by them and is live again."""
        if self.gives_back and reading.t_s - self.began_s > GUARD_PATIENCE_S:
            self.failure = Watch.GUARD_NOT_TAKEN.say(patience_s=GUARD_PATIENCE_S)
        return not self.gives_back and reading.state is State.LIVE
