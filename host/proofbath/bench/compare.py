"""Comparison with a reference thermometer in the bench's own bath: the holds of a night on record.

The raw counts are the journal's; the person reads the thermometer at the end of each hold.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

from proofbath.bench.calibration_content import Instrument, ProbePoint, RawMean
from proofbath.bench.notes import plan_steps_in
from proofbath.bench.raw_means import drift_of
from proofbath.bench.record import times_ms
from proofbath.bench.run import read_run
from proofbath.errors import RecordError
from proofbath.run.profile import Hold
from proofbath.store.journal import Journal

WINDOW_S = 60.0
GRADIENT_K = 0.07
"""From the thermometer's place to the probes', where the bench states none (from memory)."""
Reads = Callable[[str], float]


class HeldBath(NamedTuple):
    """The end of a hold: when, and what both probes showed in its last minute."""

    label: str
    ended_min: float
    bath: RawMean
    guard: RawMean


def holds_of(journal: Journal, run_id: int, most_drift: float) -> list[HeldBath]:
    """Return the holds of a run; raises RecordError where there is none or one was not steady.

    `most_drift` is the largest change of a probe's sum within half a minute.
    """
    journal.verify_chain(run_id)
    night = read_run(journal, run_id)
    steps, rows = night.profile.step, night.rows
    t_s = times_ms(rows) / 1000
    found: list[HeldBath] = []
    for number, note in plan_steps_in(night.notes):
        if not isinstance(steps[number], Hold):
            continue
        last = rows[(t_s > note.t_s - WINDOW_S) & (t_s <= note.t_s)]
        label = steps[number].label or f"hold {len(found) + 1}"
        sums = [[int(n) for n in last[name]] for name in ("bath_sum", "guard_sum")]
        if len(last) < 2 or last["bath_fault"].any() or last["guard_fault"].any():
            raise RecordError(f"run {run_id}, {label}: a probe gave no reading at its end")
        drift = max(drift_of(s) for s in sums)
        if drift > most_drift:
            raise RecordError(
                f"run {run_id}, {label}: drifted by {drift:.1f} counts in its last minute, at most"
                f" {most_drift:.1f}; hold longer"
            )
        bath, guard = map(RawMean.of, sums)
        found.append(HeldBath(label, float(note.t_s - t_s[0]) / 60, bath, guard))
    if not found:
        raise RecordError(f"run {run_id}: its plan holds the bath nowhere; use hold steps")
    return found


def compared_points(
    holds: list[HeldBath], thermometer: Instrument, gradient_k: float | None, reads: Reads
) -> tuple[ProbePoint, ...]:
    """Return the comparison at each hold's end; `reads` asks what the thermometer showed in °C."""
    u_k = math.hypot(thermometer.u, GRADIENT_K if gradient_k is None else gradient_k)
    return tuple(
        ProbePoint(
            kind="comparison",
            reference_c=reads(
                f"Reference thermometer at the end of {held.label}, {held.ended_min:.0f} min after"
                " the start, in °C"
            ),
            u_k=u_k,
            bath=held.bath,
            guard=held.guard,
        )
        for held in holds
    )
