"""Is the heat really off?  Judged from readings of a bench whose run ended before its plan.

The controller has latched, or nobody asks it for heat any more: nothing may draw current, the
contactor is open, and the bath cools.  Whatever else a reading shows is for a person at once.
"""

from __future__ import annotations

import math
from collections import deque
from typing import NamedTuple

from proofbath.run.profiles import OPEN_C
from proofbath.run.reading import Reading
from proofbath.wire.table import STATIONS, TICK_MS, Input, Output
from proofbath.wire.watches import Watch

MAIN_ISOLATOR = "Q1"
"""Its name in the bench book: it takes heater, contactor and element supply off the mains."""
OFF_WITHIN_S = 5.0
"""A lease of 3 s, the contactor's second after it, and one more."""
STANDS_S = 1.0
"""What shows for so long is no bounce of a contact and no current that still dies away."""
ELEMENT_A = 0.1
"""The controller judges element current from here on; less heats a unit by 0.15 W at most."""
SETTLED_S = 120.0
"""After the last heat the sheath's has reached the bath by then; the controller waits as long."""
CLIMB_K = 0.5
MEAN_S = 10.0
LEAST_S = 180.0
"""So long at least, so that a bath that was cold from the beginning is seen not to climb."""
_MEANS = round(MEAN_S * 1000 / TICK_MS)
_DRIVEN = {
    Output.HEATER: "the heater",
    Output.CONTACTOR: "the contactor",
    Output.ELEMENT_FEED: "the element feed",
}


class StillOn(NamedTuple):
    """Something that still heats or may: `headline` for all to see, `text` with what was seen."""

    headline: str
    text: str


class AfterTrip:
    """Takes each reading behind the end of a run; says what still heats, once for each sign."""

    def __init__(self) -> None:
        self._began_s = math.nan
        self._since_s: dict[str, float] = {}
        self._probes = (_Probe(), _Probe())
        self._standing: frozenset[str] = frozenset()
        self._said: set[str] = set()

    @property
    def heats(self) -> bool:
        """Whether anything shows now that still heats or may."""
        return bool(self._standing)

    @property
    def bath_c(self) -> float:
        """The hotter of the two probes, mean over 10 s in °C; NaN where neither reads."""
        known = [p.mean_c for p in self._probes if not math.isnan(p.mean_c)]
        return max(known, default=math.nan)

    def is_cool(self, t_s: float) -> bool:
        """Whether nothing heats, the bath is below 45 °C, and that was long enough to tell."""
        return not self.heats and t_s - self._began_s >= LEAST_S and self.bath_c < OPEN_C

    def take(self, reading: Reading) -> list[StillOn]:
        """Take a reading; return what is new of what still heats."""
        if math.isnan(self._began_s):
            self._began_s = reading.t_s
        settled = reading.t_s - self._began_s >= SETTLED_S
        for probe, bath_c in zip(self._probes, (reading.bath_c, reading.guard_c), strict=True):
            probe.take(bath_c, settled)
        signs = self._signs(reading) | self._climb()
        for name in [*self._since_s]:
            if name not in signs:
                del self._since_s[name]
        for name in signs:
            self._since_s.setdefault(name, reading.t_s)
        standing = {n for n, since_s in self._since_s.items() if reading.t_s - since_s >= STANDS_S}
        self._standing = frozenset(standing)
        new = standing - self._said
        self._said |= new
        return [signs[name] for name in sorted(new)]

    def _signs(self, reading: Reading) -> dict[str, StillOn]:
        inputs, outputs = reading.inputs, reading.outputs
        signs = {}
        if inputs & Input.HEATER_LIVE and not outputs & Output.HEATER:
            signs["heater"] = _heat(Watch.HEATER_STILL_LIVE.say())
        if not inputs & Input.CONTACTOR_OPEN and not outputs & Output.CONTACTOR:
            signs["contactor"] = StillOn(
                f"THE CONTACTOR IS NOT SEEN TO OPEN: pull {MAIN_ISOLATOR}",
                Watch.CONTACTOR_STILL_CLOSED.say(),
            )
        if not outputs & Output.ELEMENT_FEED:
            fed = [n for n in range(STATIONS) if reading.element_a[n] >= ELEMENT_A]
            signs |= {
                f"element {n + 1}": _heat(
                    Watch.ELEMENT_STILL_FED.say(station=n + 1, current_a=reading.element_a[n])
                )
                for n in fed
            }
        driven = [name for flag, name in _DRIVEN.items() if outputs & flag]
        if driven and reading.t_s - self._began_s >= OFF_WITHIN_S:
            text = Watch.OUTPUTS_STILL_ON.say(outputs=" and ".join(driven))
            signs["outputs"] = _heat(text)
        return signs

    def _climb(self) -> dict[str, StillOn]:
        climbs_k = max(probe.climbed_k for probe in self._probes)
        if climbs_k <= CLIMB_K:
            return {}
        text = Watch.BATH_STILL_CLIMBS.say(climb_k=climbs_k, bath_c=self.bath_c, limit_k=CLIMB_K)
        return {"climb": _heat(text)}


class _Probe:
    """Means of one probe over ten seconds, and how far it stands above the lowest of them."""

    def __init__(self) -> None:
        self._last = deque[float](maxlen=_MEANS)
        self._sum_c = 0.0
        self.lowest_c = math.nan

    @property
    def mean_c(self) -> float:
        return self._sum_c / _MEANS if len(self._last) == _MEANS else math.nan

    @property
    def climbed_k(self) -> float:
        climbed_k = self.mean_c - self.lowest_c
        return 0.0 if math.isnan(climbed_k) else climbed_k

    def take(self, bath_c: float, settled: bool) -> None:
        if math.isnan(bath_c):  # a faulty reading begins the mean anew
            self._last.clear()
            self._sum_c = 0.0
            return
        if len(self._last) == _MEANS:
            self._sum_c -= self._last[0]
        self._last.append(bath_c)
        self._sum_c += bath_c
        if settled and not self.lowest_c <= self.mean_c:
            self.lowest_c = self.mean_c


def _heat(text: str) -> StillOn:
    return StillOn(f"THE HEAT IS STILL ON: pull {MAIN_ISOLATOR}", text)
