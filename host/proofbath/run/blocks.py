"""Readings averaged in blocks of ten seconds: what slopes and watches work on."""

from __future__ import annotations

import math
from typing import NamedTuple

from proofbath.run.reading import Reading
from proofbath.wire.table import STATIONS

BLOCK_S = 10.0
FED_A = 0.02


class Block(NamedTuple):
    """Means over one block; NaN where any reading of it was."""

    from_s: float
    to_s: float
    bath_c: float
    guard_c: float
    lift_mm: tuple[float, ...]
    heater_on_s: float
    """Cumulative, at the end of the block."""
    fed: tuple[bool, ...]
    """Whether an element takes current, at the end of the block."""


class Blocks:
    """Collects readings; a gap longer than a block begins the block anew."""

    def __init__(self) -> None:
        self._from_s = math.nan
        self._count = 0
        self._sums = [0.0] * (2 + STATIONS)

    def add(self, reading: Reading) -> Block | None:
        """Take one reading; return the block it completes, if any."""
        passed_s = reading.t_s - self._from_s
        block = None
        if not 0.0 <= passed_s <= 2.0 * BLOCK_S:
            self._open(reading.t_s)
        elif passed_s >= BLOCK_S:
            block = self._close(reading)
            self._open(reading.t_s)
        self._count += 1
        sums = self._sums
        one, two, three, four, five, six = reading.lift_mm
        sums[0] += reading.bath_c
        sums[1] += reading.guard_c
        sums[2] += one
        sums[3] += two
        sums[4] += three
        sums[5] += four
        sums[6] += five
        sums[7] += six
        return block

    def _open(self, t_s: float) -> None:
        self._from_s = t_s
        self._count = 0
        self._sums = [0.0] * (2 + STATIONS)

    def _close(self, reading: Reading) -> Block:
        bath_c, guard_c, *lifts = (value / self._count for value in self._sums)
        return Block(
            self._from_s,
            reading.t_s,
            bath_c,
            guard_c,
            tuple(lifts),
            reading.heater_on_s,
            tuple(amps > FED_A for amps in reading.element_a),
        )
