"""The shut valve of a powered record: one zero, from its coldest closed part, for every rise."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from proofbath.curve.branches import Cycle, cycles_of
from proofbath.curve.features import CycleFeatures
from proofbath.curve.opened import Opened
from proofbath.curve.samples import Samples
from proofbath.curve.zero import UNKNOWN_SLOPE_MM_PER_K, Zero, find_zero, fit_zero

LONGEST_SPAN_K = 25.0
BEGINS_CLOSED_MM = 0.03
BEGINNING = 30
OPEN_FOR_GOOD = "the valve never closed"


@dataclass(frozen=True)
class Shut:
    """The zero against bath temperature, and the samples against drive with it taken off."""

    zero: Zero
    zeroed: Samples

    def open_at_start(self, cycle: Cycle) -> str | None:
        """Return the reason why a rise did not begin shut, None if it did."""
        first = slice(cycle.first, min(cycle.first + BEGINNING, cycle.fall))
        shown_mm = float(np.median(self.zeroed.lift_mm[first]))
        if abs(shown_mm) <= BEGINS_CLOSED_MM + 6 * self.zero.noise_mm:
            return None
        where = f"stood {shown_mm:.2f} mm open" if shown_mm > 0 else f"read {shown_mm:.2f} mm"
        return f"the valve {where} before a rise under power; let it close first"


def driven_features(zeroed: Samples, zero: Zero | None) -> list[CycleFeatures]:
    """Return the cycles of the drive, as signatures are sought in them; lift zeroed already."""
    level = replace(zero, level_mm=0.0, slope_mm_per_k=0.0) if zero else None
    return [
        CycleFeatures(
            cycle,
            zeroed.part(cycle.first, cycle.fall if cycle.rises else cycle.first),
            zeroed.part(cycle.fall, cycle.end),
            level,
        )
        for cycle in cycles_of(zeroed)
    ]


def shut_of(
    samples: Samples,
    driven: Samples,
    cycles: Sequence[Cycle],
    threshold_mm: float,
    opened: Opened,
    unknown_slope_mm_per_k: float = UNKNOWN_SLOPE_MM_PER_K,
) -> Shut | str:
    """Return the shut valve of the rise that began coldest, or the reason why there is none.

    `driven` holds the drive, bath plus heating, in the bath's place. The drive tells how far the
    valve stayed shut, the bath how gauge and fixture moved meanwhile. A rise that begins nearly
    open would take its own toe for the fixture, so all rises share this one.
    """
    reason = OPEN_FOR_GOOD
    rises = [cycle for cycle in cycles if cycle.rises]
    for cycle in sorted(rises, key=lambda c: float(driven.bath_c[c.first])):
        refused = opened.refused(samples, cycle.first)
        if refused is not None:
            reason = refused
            continue
        drive = driven.part(cycle.first, cycle.fall)
        bath_c = samples.bath_c[cycle.first : cycle.fall]
        found = find_zero(drive.bath_c, drive.lift_mm, threshold_mm, unknown_slope_mm_per_k)
        if isinstance(found, str):
            reason = found
            continue
        end = int(np.argmax(drive.bath_c >= found.end_c)) + 1
        used = bath_c[:end] >= bath_c[:end].max() - LONGEST_SPAN_K
        span_k = float(np.ptp(bath_c[:end][used]))
        lift_mm = drive.lift_mm[:end][used]
        zero = fit_zero(bath_c[:end][used], lift_mm, span_k, unknown_slope_mm_per_k)
        zeroed = replace(driven, lift_mm=samples.lift_mm - zero.reading_mm(samples.bath_c))
        return Shut(zero, zeroed)
    return reason
