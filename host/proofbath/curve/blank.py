"""A blank's curve: what fixture and gauge show of themselves, rising and falling apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from proofbath.curve.branches import Cycle, cycles_of
from proofbath.curve.record import CurveRecord, Floats
from proofbath.curve.samples import Samples, reduce
from proofbath.errors import RecordError

BIN_K = 1.0
SLOPE_LEFT_MM_PER_K = 0.0002  # what a blank of the same station leaves unknown


@dataclass(frozen=True)
class Blank:
    """Reading of a solid bar in a unit's place against bath temperature, zero at the coldest."""

    rising_c: Floats
    rising_mm: Floats
    falling_c: Floats
    falling_mm: Floats

    def taken_off(self, samples: Samples, cycles: Sequence[Cycle]) -> Samples:
        """Return the samples less the blank's reading on the branch each belongs to."""
        shown_mm = np.interp(samples.bath_c, self.rising_c, self.rising_mm)
        for cycle in cycles:
            fall = slice(cycle.fall, cycle.end)
            shown_mm[fall] = np.interp(samples.bath_c[fall], self.falling_c, self.falling_mm)
        return replace(samples, lift_mm=samples.lift_mm - shown_mm)


def blank_of(record: CurveRecord) -> Blank:
    """Return the blank's curve of a record; raises RecordError without a rise and a fall."""
    samples, _ = reduce(record)
    cycles = [cycle for cycle in cycles_of(samples) if cycle.rises and cycle.falls]
    if not cycles:
        raise RecordError(f"{record.name}: a blank needs a rise and a fall of the bath")
    rising = [samples.part(cycle.first, cycle.fall) for cycle in cycles]
    falling = [samples.part(cycle.fall, cycle.end) for cycle in cycles]
    rising_c, rising_mm = _curve(rising)
    falling_c, falling_mm = _curve(falling)
    zero_mm = rising_mm[0]
    return Blank(rising_c, rising_mm - zero_mm, falling_c, falling_mm - zero_mm)


def _curve(parts: Sequence[Samples]) -> tuple[Floats, Floats]:
    """Means of temperature and reading over bins of 1 K."""
    bath_c = np.concatenate([part.bath_c for part in parts])
    lift_mm = np.concatenate([part.lift_mm for part in parts])
    bins = np.floor(bath_c / BIN_K).astype(np.int64)
    bins -= bins.min()
    count = np.bincount(bins)
    filled = count > 0
    total_c, total_mm = np.bincount(bins, bath_c), np.bincount(bins, lift_mm)
    return total_c[filled] / count[filled], total_mm[filled] / count[filled]
