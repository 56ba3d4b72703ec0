"""The content of a result on record: what its analysis says, and what its run brings to it."""

from __future__ import annotations

from collections.abc import Mapping

from proofbath.bench.calibration import Calibration
from proofbath.bench.run import Run
from proofbath.bench.soaks import probe_differences_k
from proofbath.curve.content import ResultContent
from proofbath.curve.result import CurveResult

OWN_STEPS = "own steps"
"""Stands for a profile that is none of those shipped."""


def result_contents(
    night: Run,
    results: Mapping[int, CurveResult],
    scale: Calibration,
    program: str,
) -> dict[int, ResultContent]:
    """Return the contents of a run's results by station, read under a calibration.

    Stations without a unit say nothing.
    """
    plan = night.plan
    types = {place.station: plan.type_at(place) for place in plan.station}
    apart_k = tuple(probe_differences_k(night, scale))
    profile = plan.profile or OWN_STEPS
    return {
        station: ResultContent(result, apart_k, profile, program, known.name)
        for station, result in results.items()
        if (known := types[station]) is not None
    }
