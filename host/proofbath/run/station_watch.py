"""Station by station: what the controller flagged, gauges that stand still, zeros that moved."""

from __future__ import annotations

import math
from collections import deque

from proofbath.run.blocks import Block
from proofbath.run.gauge_watch import GaugeWatch
from proofbath.run.profile import NEVER_OPEN_C
from proofbath.wire.table import STATIONS, StationFlag
from proofbath.wire.watches import Watch

ZERO_RETURN_MM = 0.05
"""A zero may differ by this between cycles (common practice, no source)."""
CLOSED_MM = 0.2
"""A lift this near the cold one's belongs to a closed unit; the rest is the fixture's."""
SAME_PLACE_K = 0.5
PROBES_K = 0.3
"""Change of bath minus guard probe that is worth a warning."""
LAGS_APART_S = 40.0
"""So much the lags of two healthy probes may differ (common practice, no source): while the bath
moves, that times its rate is no drift."""
RATE_BLOCKS = 12
"""A difference of lags dies away within three of them: the fastest rate of so long counts."""
_PROBE_BLOCKS = 6
_NO_FLAGS = (0,) * STATIONS


class StationWatch:
    """Keeps which elements may be fed; collects warnings, each said once."""

    def __init__(
        self, loaded: tuple[bool, ...], open_by_c: tuple[float, ...] = NEVER_OPEN_C
    ) -> None:
        self._loaded = loaded
        self.flags = _NO_FLAGS
        self.may_feed = (True,) * STATIONS
        self._zero: tuple[float, tuple[float, ...]] | None = None
        self._last_block: Block | None = None
        self._gauge = [GaugeWatch(bath_c) for bath_c in open_by_c]
        self._stuck: set[int] = set()
        self._probes_k: float | None = None
        self._apart = 0
        self._apart_told = False
        self._rates_k_per_s = deque[float](maxlen=RATE_BLOCKS)

    def flagged(self, flags: tuple[int, ...]) -> list[str]:
        """Take changed flags; return what is new, one text a station."""
        said = []
        for i, (before, now) in enumerate(zip(self.flags, flags, strict=True)):
            new = StationFlag(now & ~before)
            if new and self._loaded[i]:
                names = ", ".join(flag.name.lower() for flag in new if flag.name)
                said.append(Watch.STATION_FLAGGED.say(station=i + 1, flags=names))
        self.flags = flags
        # The controller forgets its flags when a new LIVE begins; a fault of tonight stays one.
        self.may_feed = tuple(
            may and not flag for may, flag in zip(self.may_feed, flags, strict=True)
        )
        return said

    def take(self, block: Block) -> list[str]:
        """Take a block; return warnings of gauges and probes."""
        said = self._gauges(block) + self._probes(block)
        self._last_block = block
        return said

    def zero(self, at_c: float, closed_mm: tuple[float, ...]) -> list[str]:
        """A recorded soak ends: compare the lifts with the first such soak's.

        Only units that were closed then have a zero; `closed_mm` are the lifts of the cold start.
        """
        if self._last_block is None:
            return []
        lifts = self._last_block.lift_mm
        if self._zero is None or abs(self._zero[0] - at_c) > SAME_PLACE_K:
            self._zero = (at_c, lifts)
            return []
        return [
            Watch.ZERO_MOVED.say(station=i, moved_mm=now - first, limit_mm=ZERO_RETURN_MM)
            for i, (closed, first, now) in enumerate(
                zip(closed_mm, self._zero[1], lifts, strict=True), 1
            )
            if self._loaded[i - 1]
            and abs(first - closed) < CLOSED_MM
            and abs(now - first) > ZERO_RETURN_MM
        ]

    def _gauges(self, block: Block) -> list[str]:
        said = []
        for i, gauge in enumerate(self._gauge):
            lift_mm = block.lift_mm[i]
            if self._loaded[i] and gauge.stands(block, lift_mm, block.fed[i]):
                if i not in self._stuck:
                    said.append(Watch.GAUGE_STANDS_STILL.say(station=i + 1, lift_mm=lift_mm))
                self._stuck.add(i)
        return said

    def _probes(self, block: Block) -> list[str]:
        apart_k = block.bath_c - block.guard_c
        if math.isnan(apart_k):
            return []
        if self._probes_k is None:
            self._probes_k = apart_k
        change_k = apart_k - self._probes_k
        limit_k = PROBES_K + LAGS_APART_S * self._fastest_k_per_s(block)
        self._apart = self._apart + 1 if abs(change_k) > limit_k else 0
        if abs(change_k) <= PROBES_K:
            self._apart_told = False
        if self._apart < _PROBE_BLOCKS or self._apart_told:
            return []
        self._apart_told = True
        return [Watch.PROBES_CHANGED.say(change_k=change_k, limit_k=limit_k)]

    def _fastest_k_per_s(self, block: Block) -> float:
        last = self._last_block
        if last is not None and not math.isnan(last.bath_c) and block.from_s == last.to_s:
            passed_s = block.to_s - block.from_s
            self._rates_k_per_s.append(abs(block.bath_c - last.bath_c) / passed_s)
        return max(self._rates_k_per_s, default=0.0)
