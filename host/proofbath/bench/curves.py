"""Curves from the journal: each loaded unit's record of its recorded cycles.

A cycle whose branch was left is no cycle: its samples are left out.  So is what was recorded
while the run stood still, or checked elements.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from proofbath.bench.calibration import Calibration
from proofbath.bench.notes import notes_in
from proofbath.bench.passes import checks_in, passes_in, stretches_off
from proofbath.bench.record import Floats, RunRecord, run_record
from proofbath.bench.run import Run
from proofbath.curve.record import FEWEST_SAMPLES, Cold, CurveRecord
from proofbath.run.element_watch import hottest_core_c
from proofbath.run.elements import Elements
from proofbath.run.note import ELEMENTS
from proofbath.store.journal import EventLine

COLD_BAND_K = 1.0
"""Of the bath before the record: what lies so near its coldest shows the gauge in the cold."""


def unit_records(night: Run, calibration: Calibration | None = None) -> dict[int, CurveRecord]:
    """Return the record of each loaded station, from its first recorded step to the run's end.

    Broken passes through a cycle are left out.  Raw counts are read under `calibration`, by
    default the one in force during the run.  Empty where nothing was recorded.
    """
    plan, events = night.plan, night.events
    run = run_record(night.rows, calibration or night.calibration)
    passes = passes_in(events)
    used = run.t_s >= min((p.from_s for p in passes if p.recorded and p.whole), default=math.inf)
    for broken in passes:
        if not broken.whole:
            used &= (run.t_s < broken.from_s) | (run.t_s >= broken.to_s)
    checks = checks_in(events)
    elements = elements_in(events)
    for off in (*stretches_off(events), *checks):
        used &= (run.t_s <= off.from_s) | (run.t_s >= off.to_s)
    if np.count_nonzero(used) < FEWEST_SAMPLES:
        return {}
    cold = _coldest_before(run, used)
    powered = plan.unit_type.kind == "heater-assisted"
    records = {}
    for place in plan.station:
        at = place.station - 1
        records[place.station] = CurveRecord(
            run.t_s[used] - run.t_s[0],
            run.bath_c[used],
            run.lift_mm[used, at],
            run.element_a[used, at] if powered else None,
            run.element_v[used, at] if powered else None,
            name=place.serial,
            left_out=tuple((off.from_s - run.t_s[0], off.to_s - run.t_s[0]) for off in checks),
            cold=None if cold is None else Cold(cold[0], float(cold[1][at])),
            core_c=hottest_core_c(
                elements, place.station, run.element_a[:, at], run.element_v[:, at]
            ),
        )
    return records


def _coldest_before(run: RunRecord, used: NDArray[np.bool_]) -> tuple[float, Floats] | None:
    """Return the coldest bath before the used samples and the lifts there; None without any."""
    before = slice(0, int(np.argmax(used)))
    bath_c = run.bath_c[before]
    whole = np.isfinite(bath_c)
    if np.count_nonzero(whole) < FEWEST_SAMPLES:
        return None
    near = bath_c <= bath_c[whole].min() + COLD_BAND_K
    return float(np.median(bath_c[near])), np.median(run.lift_mm[before][near], axis=0)


def elements_in(events: list[EventLine]) -> Elements:
    """Return what a run found of the elements, by which their cores' heat is told."""
    notes = notes_in(events)
    return Elements(before=next((n.text for n in reversed(notes) if n.code == ELEMENTS), ""))
