"""The cycles of one unit judged together: whose zero holds, and which rise began closed."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from proofbath.curve.branches import Cycle
from proofbath.curve.features import CycleFeatures, Wanted, features_of
from proofbath.curve.samples import Samples
from proofbath.curve.zero import Zero

NOT_CLOSED_MM = 0.03


def features_of_cycles(
    samples: Samples,
    cycles: Sequence[Cycle],
    wanted: Wanted,
    refused: Sequence[str | None] | None = None,
) -> list[CycleFeatures]:
    """Return each cycle's features; one that starts open borrows the zero of a closed one.

    A valve that has not closed can rest on its play and look shut: its zero stands above the
    other cycles', or its lift later falls below its own zero. `refused` are the reasons known from
    elsewhere why a cycle did not begin shut.
    """
    known = refused or [None] * len(cycles)
    found = [
        features_of(samples, cycle, wanted, never_closed=reason)
        for cycle, reason in zip(cycles, known, strict=True)
    ]
    zeros = [features.zero for features in found if features.zero is not None]
    if not zeros:
        return found
    lowest = min(zeros, key=lambda zero: float(zero.reading_mm(np.array([zeros[0].at_c]))[0]))
    return [_judged(samples, features, lowest, wanted) for features in found]


def _judged(
    samples: Samples, features: CycleFeatures, lowest: Zero, wanted: Wanted
) -> CycleFeatures:
    zero, refused = features.zero, features.reasons.get("start_to_open_c")
    if zero is not None:
        above_mm = zero.level_mm - float(lowest.reading_mm(np.array([zero.at_c]))[0])
        allowed_mm = NOT_CLOSED_MM + 6 * zero.noise_mm
        if above_mm > allowed_mm:
            refused = f"the valve stood {above_mm:.2f} mm open before this rise; let it close first"
        below_mm = _deepest_mm(features.falling, zero)
        if below_mm > allowed_mm:
            refused = f"the lift later falls {below_mm:.2f} mm below this zero; it was not closed"
        if refused is None or refused == features.reasons.get("start_to_open_c"):
            return features
    return features_of(samples, features.cycle, wanted, lowest, refused)


def _deepest_mm(falling: Samples, zero: Zero) -> float:
    """How far the falling branch goes below the zero, lone samples not counted."""
    if len(falling) < 20:
        return 0.0
    return -float(np.quantile(falling.lift_mm - zero.reading_mm(falling.bath_c), 0.02))
