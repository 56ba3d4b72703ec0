"""How hot the elements' cores become while they are fed, by their own resistance."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from proofbath.run.elements import Elements
from proofbath.run.power import JUDGED_A
from proofbath.run.reading import Reading
from proofbath.wire.table import STATIONS
from proofbath.wire.watches import SUFFERED_C, Said, Watch

Floats = npt.NDArray[np.float64]

_READINGS = 10


def hottest_core_c(elements: Elements, station: int, amps: Floats, volts: Floats) -> float | None:
    """Return the hottest core that readings in a row tell, shapes (n,); None if unknown.

    Twice ten of them must tell it: where a circuit opens, the last readings show a resistance
    that is no heat, and none follow them.
    """
    most_c = before_ohm = math.nan
    for at in range(0, len(amps) - _READINGS + 1, _READINGS):
        few_a, few_v = amps[at : at + _READINGS], volts[at : at + _READINGS]
        ohm = float(few_v.sum() / few_a.sum()) if few_a.min() >= JUDGED_A else math.nan
        both_ohm = float(np.minimum(before_ohm, ohm))
        most_c = float(np.fmax(most_c, elements.core_c(station, both_ohm)))
        before_ohm = ohm
    return None if math.isnan(most_c) else most_c


class ElementWatch:
    """Follows elements whose coefficient is known, in means of a second; says each station once."""

    def __init__(self, elements: Elements) -> None:
        self._elements = elements
        self._sums = [(0, 0.0, 0.0)] * STATIONS
        self._before_ohm = [math.nan] * STATIONS
        self._said: set[int] = set()

    def take(self, reading: Reading) -> list[Said]:
        """Take a reading while elements are fed; return what is to be noted on a unit."""
        said = []
        pairs = zip(reading.element_a, reading.element_v, strict=True)
        for i, (current_a, voltage_v) in enumerate(pairs):
            if not current_a >= JUDGED_A:
                self._sums[i] = (0, 0.0, 0.0)
                self._before_ohm[i] = math.nan
                continue
            count, amps, volts = self._sums[i]
            count, amps, volts = count + 1, amps + current_a, volts + voltage_v
            self._sums[i] = (count, amps, volts)
            if count == _READINGS:
                self._sums[i] = (0, 0.0, 0.0)
                before_ohm, self._before_ohm[i] = self._before_ohm[i], volts / amps
                said += self._judge(i + 1, min(before_ohm, volts / amps))
        return said

    def _judge(self, station: int, ohm: float) -> list[Said]:
        if station in self._said:
            return []
        core_c = self._elements.core_c(station, ohm)
        if not core_c > SUFFERED_C:
            return []
        self._said.add(station)
        return [Watch.ELEMENT_SUFFERED.of_station(station, core_c=core_c, limit_c=SUFFERED_C)]
