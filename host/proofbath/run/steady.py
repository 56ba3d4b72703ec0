"""Steadiness by the slope of the record: bath and lifts averaged in blocks, a line through them."""

from __future__ import annotations

import math
from collections import deque

from proofbath.run.reading import Reading
from proofbath.wire.table import STATIONS

BLOCK_S = 10.0
BLOCKS = 6
_AT = tuple(i - (BLOCKS - 1) / 2.0 for i in range(BLOCKS))
_PER_MIN = 60.0 / BLOCK_S / sum(x * x for x in _AT)


class Steadiness:
    """Slopes of bath and lifts over the last minute, from block means."""

    def __init__(self) -> None:
        self._blocks: deque[tuple[float, ...]] = deque(maxlen=BLOCKS)
        self._sums = [0.0] * (1 + STATIONS)
        self._count = 0
        self._block_from_s = math.nan

    def add(self, reading: Reading) -> None:
        """Take one reading; a gap longer than a block begins the record anew."""
        passed_s = reading.t_s - self._block_from_s
        if not 0.0 <= passed_s <= 2.0 * BLOCK_S:
            self._blocks.clear()
            self._open(reading.t_s)
        elif passed_s >= BLOCK_S:
            self._blocks.append(tuple(value / self._count for value in self._sums))
            self._open(reading.t_s)
        self._count += 1
        sums = self._sums
        sums[0] += reading.bath_c
        for i, lift_mm in enumerate(reading.lift_mm, 1):
            sums[i] += lift_mm

    def _open(self, t_s: float) -> None:
        self._sums = [0.0] * (1 + STATIONS)
        self._count = 0
        self._block_from_s = t_s

    def within(self, k_per_min: float, mm_per_min: float) -> bool:
        """Return whether a full record changes no faster; a faulty gauge has no say."""
        if len(self._blocks) < BLOCKS:
            return False
        bath, *lifts = (self._slope(values) for values in zip(*self._blocks, strict=True))
        return abs(bath) <= k_per_min and not any(abs(lift) > mm_per_min for lift in lifts)

    @staticmethod
    def _slope(values: tuple[float, ...]) -> float:
        return _PER_MIN * sum(x * y for x, y in zip(_AT, values, strict=True))
