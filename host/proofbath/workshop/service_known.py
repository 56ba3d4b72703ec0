"""What is known of a unit before it went into its engine: its last result, or its marking."""

from __future__ import annotations

import datetime as dt
from typing import NamedTuple

from proofbath.proof.engine_state import Known
from proofbath.proof.specification import Limit
from proofbath.quantity.quantity import Quantity
from proofbath.run.unit_type import UnitType
from proofbath.store.records import RecordsReader
from proofbath.workshop.measured_values import step_value
from proofbath.workshop.story import Step, UnitStory, unit_story


class OnBench(NamedTuple):
    """A unit's last measurement before it was fitted, and the batch it was measured in."""

    story: UnitStory
    step: Step
    start: Quantity

    def stated(self, name: str) -> float | None:
        """Return the value of a quantity of its result, None where it states none."""
        content = self.step.content
        found = content.curve.quantities.get(name) if content else None
        return found.value if found else None


def on_bench(
    records: RecordsReader, serial: str, limit: Limit | None, fitted: dt.date
) -> OnBench | None:
    """Return the unit's last measured start-to-open up to the day it was fitted.

    None where it was changed after that and not measured again.
    """
    found: OnBench | None = None
    for story in unit_story(records, serial) if limit else ():
        for step in story.steps:
            if step.date > fitted:
                continue
            if step.rework:
                found = None
            elif limit and (value := step_value(limit, step)):
                found = OnBench(story, step, value)
    return found


def known_of(unit_type: UnitType, bench: OnBench | None) -> Known:
    """Return where a unit opens and is wide open, measured where it was, else as it is marked.

    A full-open that was not measured lies as far above the start as the type's marking says.
    """
    marked_c, full_c = unit_type.nominal_start_to_open_c, unit_type.full_open_c
    powered_k = _powered_k(unit_type, bench)
    if bench is None or bench.start.value is None:
        return Known(marked_c, full_c, measured=False, powered_k=powered_k)
    start_c = bench.start.value
    measured_c = bench.stated("full_open_c")
    full_c = start_c + full_c - marked_c if measured_c is None else measured_c
    return Known(start_c, full_c, powered_k=powered_k)


def _powered_k(unit_type: UnitType, bench: OnBench | None) -> float | None:
    """Return by how much full power lowers the start-to-open, None where nobody knows."""
    if unit_type.kind == "plain":
        return 0.0
    shift = bench.stated("shift_k_per_w") if bench else None
    k_per_w = unit_type.element_k_per_w if shift is None else abs(shift)
    if k_per_w is None or unit_type.element_ohm is None:
        return None
    return k_per_w * unit_type.element_max_a**2 * unit_type.element_ohm
