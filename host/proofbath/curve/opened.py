"""Was the valve open already at the first bath? Its gauge then stands higher than it did colder.

A sound valve is at its lowest in the cold.  A gauge that stands higher at the first bath than at a
colder one, by more than its fixture expands, shows a valve that opened before the record began:
its lift there is no zero, and neither rest nor jump of it tells anything of the gauge.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from proofbath.curve.branches import Cycle
from proofbath.curve.holds import LEAST_CURRENT_A
from proofbath.curve.record import Cold, Floats
from proofbath.curve.samples import Samples
from proofbath.curve.zero import UNKNOWN_SLOPE_MM_PER_K

SHUT_WITHIN_MM = 0.2
"""A lift this near the cold one's belongs to a shut valve (common practice, no source)."""
FIRST_S = 30.0
WARMER_K = 1.0


@dataclass(frozen=True)
class Opened:
    """How far the valve stood open, in mm above a colder reading, before each sample's bath."""

    first_c: float
    first_mm: float
    lowest: Cold

    @property
    def at_first_bath_mm(self) -> float | None:
        """How far it was open at the first bath, None where it was shut or nothing tells."""
        return self.open_mm(self.first_c, self.first_mm)

    def open_mm(self, bath_c: float, lift_mm: float) -> float | None:
        """Return how far a reading stands above the shut one, None within what a fixture does.

        In a colder bath than that of the shut reading no wax holds a valve open: gauge and fixture
        creep.
        """
        if bath_c < self.lowest.bath_c - WARMER_K:
            return None
        above_mm = lift_mm - self.lowest.lift_mm
        fixture_mm = 2 * UNKNOWN_SLOPE_MM_PER_K * abs(bath_c - self.lowest.bath_c)
        return above_mm if above_mm > SHUT_WITHIN_MM + fixture_mm else None

    def refused(self, samples: Samples, first: int) -> str | None:
        """Return the reason why a rise that begins at a sample has no zero of its own."""
        bath_c, lift_mm = _beginning(samples, first)
        open_mm = self.open_mm(bath_c, lift_mm)
        if open_mm is None:
            return None
        if self.at_first_bath_mm is not None and abs(bath_c - self.first_c) < WARMER_K:
            return self.sentence()
        return f"the valve stood {open_mm:.2f} mm open before this rise; let it close first"

    def sentence(self) -> str:
        """Say in words that, and how far, it was open at the first bath."""
        return (
            f"it is open already at the first bath of {self.first_c:.1f} °C, by"
            f" {self.first_mm - self.lowest.lift_mm:.2f} mm: over-filled, or the bath is too warm"
            " for it; begin colder"
        )


def opened_of(samples: Samples, cycles: Sequence[Cycle], cold: Cold | None) -> Opened:
    """Compare the first bath with every colder one of the record, and with `cold` before it.

    The first bath is where the first rise begins, or the record's first where elements are fed
    before: a run that begins in a hot bath falls to its soak first, with sound valves open.
    """
    first_c, first_mm = _beginning(samples, _first(samples, cycles))
    lowest = Cold(first_c, first_mm)
    colder = samples.bath_c <= first_c + WARMER_K
    if colder.sum() > 2:
        lift_mm = samples.lift_mm[colder]
        low_mm = float(np.quantile(lift_mm, 0.02))
        at = samples.bath_c[colder][lift_mm <= low_mm]
        lowest = Cold(float(np.median(at)), low_mm)
    if cold is not None and cold.bath_c < first_c and cold.lift_mm < lowest.lift_mm:
        lowest = cold
    return Opened(first_c, first_mm, lowest)


def _first(samples: Samples, cycles: Sequence[Cycle]) -> int:
    rise = next((cycle.first for cycle in cycles if cycle.rises), 0)
    if samples.element_a is None:
        return rise
    fed = np.nan_to_num(samples.element_a[:rise]) > LEAST_CURRENT_A
    return 0 if fed.any() else rise


def _beginning(samples: Samples, first: int) -> tuple[float, float]:
    near = slice(first, first + max(3, round(FIRST_S / samples.interval_s)))
    return _median(samples.bath_c[near]), _median(samples.lift_mm[near])


def _median(values: Floats) -> float:
    return float(np.median(values))
