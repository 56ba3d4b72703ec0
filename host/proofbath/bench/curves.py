"""Curves from the journal: each loaded unit's record of its recorded cycles."""

from __future__ import annotations

import math

import numpy as np

from proofbath.bench.calibration import Calibration
from proofbath.bench.notes import notes_in
from proofbath.bench.record import run_record
from proofbath.curve.record import FEWEST_SAMPLES, CurveRecord
from proofbath.run.plan import NightPlan
from proofbath.store.journal import Journal


def unit_records(
    journal: Journal, run_id: int, calibration: Calibration | None = None
) -> dict[int, CurveRecord]:
    """Return the record of each loaded station, from its first recorded step to the run's end.

    Raw counts are read under `calibration`, by default the one in force during the run.
    Empty where the run ended before anything was recorded.
    """
    head = journal.run(run_id).head
    plan = NightPlan.model_validate_json(head.plan_text)
    scale = calibration or Calibration.model_validate_json(head.calibration_text)
    run = run_record(journal.samples(run_id), scale)
    notes = notes_in(journal.events(run_id))
    begins_s = [n.t_s for n in notes if n.code == "step_begin" and n.purpose == "recorded"]
    used = run.t_s >= min(begins_s, default=math.inf)
    if np.count_nonzero(used) < FEWEST_SAMPLES:
        return {}
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
        )
    return records
