"""How hot the elements' cores become while they are fed, by their own resistance."""

from __future__ import annotations

from proofbath.run.elements import Elements
from proofbath.run.power import JUDGED_A
from proofbath.run.reading import Reading
from proofbath.wire.table import STATIONS
from proofbath.wire.watches import Watch

SUFFERED_C = 150.0
"""Beyond this wax and sleeve may have suffered (common practice, no source)."""
_READINGS = 10


class ElementWatch:
    """Follows elements whose coefficient is known, in means of a second; says each station once."""

    def __init__(self, elements: Elements) -> None:
        self._elements = elements
        self._sums = [(0, 0.0, 0.0)] * STATIONS
        self._said: set[int] = set()

    def take(self, reading: Reading) -> list[str]:
        """Take a reading while elements are fed; return what is to be noted on a unit."""
        said = []
        pairs = zip(reading.element_a, reading.element_v, strict=True)
        for i, (current_a, voltage_v) in enumerate(pairs):
            if not current_a >= JUDGED_A:
                self._sums[i] = (0, 0.0, 0.0)
                continue
            count, amps, volts = self._sums[i]
            count, amps, volts = count + 1, amps + current_a, volts + voltage_v
            self._sums[i] = (count, amps, volts)
            if count == _READINGS:
                self._sums[i] = (0, 0.0, 0.0)
                said += self._judge(i + 1, volts / amps)
        return said

    def _judge(self, station: int, ohm: float) -> list[str]:
        if station in self._said:
            return []
        core_c = self._elements.core_c(station, ohm)
        if not core_c > SUFFERED_C:
            return []
        self._said.add(station)
        return [Watch.ELEMENT_SUFFERED.say(station=station, core_c=core_c, limit_c=SUFFERED_C)]
