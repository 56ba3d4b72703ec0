"""What only a batch shows: units that shift together, and one that lags its neighbours."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from proofbath.curve.result import CurveResult, Warned

FEWEST_UNITS = 3
TOGETHER_K = 0.25
LAG_RATIO = 1.8


def batch_findings(
    results: Sequence[CurveResult], earlier_start_c: Mapping[str, float] | None = None
) -> list[Warned]:
    """Return findings of a batch from its results and earlier starts in °C by unit name.

    Units that were not touched in between (the reference unit among them) and all shift by more
    than 0.25 K the same way tell of the probe or its calibration, not of themselves.
    """
    found = [_slower(results)]
    if earlier_start_c:
        found.append(_together(results, earlier_start_c))
    return [item for item in found if item is not None]


def _together(results: Sequence[CurveResult], earlier_c: Mapping[str, float]) -> Warned | None:
    shifts = np.array(
        [
            result.start_to_open_c.value - earlier_c[result.name]
            for result in results
            if result.start_to_open_c.value is not None and result.name in earlier_c
        ]
    )
    if len(shifts) < FEWEST_UNITS:
        return None
    middle_k = float(np.median(shifts))
    if abs(middle_k) < TOGETHER_K or not np.all(np.sign(shifts) == np.sign(middle_k)):
        return None
    text = (
        f"all {len(shifts)} units shifted together, by {middle_k:+.2f} K: check the bath probe at"
    )
    return Warned("shifted_together", text + " the ice point and the pressure of its steam point")


def _slower(results: Sequence[CurveResult]) -> Warned | None:
    lags = {r.name: r.lag_s.value for r in results if r.lag_s.value is not None}
    if len(lags) < FEWEST_UNITS:
        return None
    middle_s = float(np.median(list(lags.values())))
    slow = [name for name, lag_s in lags.items() if lag_s > LAG_RATIO * middle_s]
    if not slow:
        return None
    text = f"{', '.join(slow)}: lag far beyond the neighbours' {middle_s:.0f} s:"
    return Warned("slower_than_neighbours", text + " air round the element? vent, reseat, repeat")
