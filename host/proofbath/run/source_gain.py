"""What flows against what is asked: a source that gives more is set lower, one that is off is told.

A current is never set higher because less seems to flow: where the reading is at fault, the
element would be driven beyond what it may be given.
"""

from __future__ import annotations

from proofbath.run.reading import NO_CURRENT, Reading
from proofbath.wire.table import STATIONS
from proofbath.wire.watches import Said, Watch

LEAST_A = 0.2
"""Below it the channel's own offset says more than its scale."""
LEAST, MOST = 0.5, 1.5
"""Shares of the set current that are the source's; beyond, a circuit is open or being switched."""
SETTLED = 5
"""Readings after a change of the set current, or after it began to flow, that are not looked at:
half a second."""
CHANGED = 0.01
"""Share by which a set current changes at once; a ramp goes in smaller parts."""
WEIGHT = 0.05
"""Share of a reading in what is kept: it follows within three seconds."""
OFF, OFF_A = 0.02, 0.01
"""So far a source may be off, by the one or the other, before it is told: results that far apart
are not of one current (common practice, no source)."""
TOLD_AFTER = 100
"""Readings in a row, ten seconds, before it is told."""


class SourceGain:
    """The gain of each station's source, as measured, and the currents that make the asked ones."""

    def __init__(self) -> None:
        self._gain = [1.0] * STATIONS
        self._set_a = NO_CURRENT
        self._asked_a = NO_CURRENT
        self._held = [0] * STATIONS
        self._off = [0] * STATIONS
        self._told: set[int] = set()

    def set_a(self, reading: Reading, asked_a: tuple[float, ...]) -> tuple[float, ...]:
        """Take a reading; return what to set so that no more flows than is asked."""
        for i, (before_a, flows_a) in enumerate(zip(self._set_a, reading.element_a, strict=True)):
            flows = before_a >= LEAST_A and LEAST * before_a <= flows_a <= MOST * before_a
            self._held[i] = self._held[i] + 1 if flows else 0
            if self._held[i] > SETTLED:
                self._gain[i] += WEIGHT * (flows_a / before_a - self._gain[i])
                self._off[i] = self._off[i] + 1 if self._is_off(i) else 0
        now_a = tuple(a / max(1.0, gain) for a, gain in zip(asked_a, self._gain, strict=True))
        for i, (before_a, a) in enumerate(zip(self._set_a, now_a, strict=True)):
            if abs(a - before_a) > CHANGED * before_a:
                self._held[i] = 0
        self._set_a, self._asked_a = now_a, asked_a
        return now_a

    def take_said(self) -> list[Said]:
        """Return what is to be told of sources that are off, each station once."""
        said = []
        for i, count in enumerate(self._off):
            if count >= TOLD_AFTER and i not in self._told and self._asked_a[i] > 0.0:
                self._told.add(i)
                said.append(self._tell(i))
        return said

    def _is_off(self, i: int) -> bool:
        asked_a = self._asked_a[i]
        return abs(self._gain[i] - 1.0) * asked_a > max(OFF * asked_a, OFF_A)

    def _tell(self, i: int) -> Said:
        watch = Watch.CURRENT_OVER if self._gain[i] > 1.0 else Watch.CURRENT_SHORT
        asked_a = self._asked_a[i]
        return watch.of_station(i + 1, flows_a=self._gain[i] * asked_a, asked_a=asked_a)
