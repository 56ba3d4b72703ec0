"""What only a batch shows: shifts of all together or with depth, and one unit that lags."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from proofbath.curve.bench_budget import steadied
from proofbath.curve.fitting import fit_linear
from proofbath.curve.result import CurveResult, Warned

FEWEST_UNITS = 3
TOGETHER_K = 0.25
LAG_RATIO = 1.8
DEPTH_SDS = 3.0


def batch_findings(
    results: Sequence[CurveResult],
    earlier_start_c: Mapping[str, float] | None = None,
    depth_mm: Mapping[str, float] | None = None,
) -> list[Warned]:
    """Return findings of a batch from its results, earlier starts in °C and depths by unit name.

    Units that were not touched in between (the reference unit among them) and all shift by more
    than 0.25 K the same way tell of the probe or its calibration, not of themselves. Shifts that
    go with the depth of the units' elements tell of a stratified bath; `earlier_start_c` are then
    those of the well stirred one.
    """
    found = [_slower(results)]
    if earlier_start_c:
        shifts_k = _shifts(results, earlier_start_c)
        found += [_together(shifts_k), _stratified(shifts_k, depth_mm or {})]
    return [item for item in found if item is not None]


def _shifts(results: Sequence[CurveResult], earlier_c: Mapping[str, float]) -> Mapping[str, float]:
    return {
        result.name: result.start_to_open_c.value - earlier_c[result.name]
        for result in results
        if result.start_to_open_c.value is not None and result.name in earlier_c
    }


def _stratified(shifts_k: Mapping[str, float], depth_mm: Mapping[str, float]) -> Warned | None:
    """A line of shift against depth, beyond what the scatter of starts makes."""
    names = [name for name in shifts_k if name in depth_mm]
    depths = np.array([depth_mm[name] for name in names])
    if len(names) < FEWEST_UNITS + 1 or np.ptp(depths) == 0:
        return None
    place = (depths - depths.mean()) / float(np.ptp(depths))
    fitted = fit_linear(
        np.column_stack([np.ones(len(names)), place]), np.array([shifts_k[n] for n in names])
    )
    across_k = float(fitted.parameters[1])
    scatter_k, _ = steadied(fitted.residual_sd, fitted.degrees_of_freedom)
    if abs(across_k) < max(TOGETHER_K, DEPTH_SDS * scatter_k / float(np.linalg.norm(place))):
        return None
    text = f"starts moved by {across_k:+.2f} K over {np.ptp(depths):.0f} mm of depth: the bath is"
    return Warned("stratified", text + " stratified; check stirrer, fill and lid, repeat")


def _together(shifts_k: Mapping[str, float]) -> Warned | None:
    shifts = np.array(list(shifts_k.values()))
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
