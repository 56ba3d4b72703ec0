"""How far the bath probe and the guard probe were apart at each soak of a journalled night."""

from __future__ import annotations

import numpy as np

from proofbath.bench.calibration import Calibration
from proofbath.bench.notes import plan_steps_in
from proofbath.bench.record import run_record
from proofbath.bench.run import Run
from proofbath.run.profile import Soak

WINDOW_S = 60.0
"""The end of a soak, when the bath is steady."""


def probe_differences_k(night: Run, scale: Calibration) -> list[float]:
    """Return the mean of bath minus guard over the last minute of each soak that was finished."""
    steps = night.profile.step
    run = run_record(night.rows, scale)
    apart_k = run.bath_c - run.guard_c
    found = list[float]()
    for number, end in plan_steps_in(night.notes):
        used = (run.t_s > end.t_s - WINDOW_S) & (run.t_s <= end.t_s) & np.isfinite(apart_k)
        if isinstance(steps[number], Soak) and used.any():
            found.append(float(apart_k[used].mean()))
    return found
