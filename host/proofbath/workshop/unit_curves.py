"""A unit's opening curves across its nights, read from the journal, drawn over one another."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from contextlib import closing
from dataclasses import replace
from typing import NamedTuple

from proofbath.bench.curves import unit_records
from proofbath.bench.run import read_run
from proofbath.curve.current_picture import DRAWN
from proofbath.curve.current_shapes import Shape, shapes_of
from proofbath.curve.overlay import heater_picture, overlay_picture
from proofbath.curve.picture import LOOKS, curve_picture
from proofbath.curve.record import CurveRecord
from proofbath.curve.result import CurveResult
from proofbath.errors import InputError
from proofbath.store.journal import Journal
from proofbath.store.records import RecordsReader
from proofbath.workshop.contents import content_of
from proofbath.workshop.run_shelf import rested_on
from proofbath.workshop.story import Step, unit_story

_DRAWING = threading.Lock()
"""The drawing library has settings of its own that two threads must not change at once."""
MOST = len(LOOKS)


class Measured(NamedTuple):
    """One measurement of a unit: its run, what it is called in a picture, and its record's row."""

    run: int
    called: str
    row: int
    step: Step


def measurements(records: RecordsReader, serial: str) -> list[Measured]:
    """Return a unit's measurements that have a result, oldest first; raises InputError."""
    return [
        Measured(
            step.station_run.entry.run_id,
            f"{step.date} {step.stage}",
            step.result.id,
            step,
        )
        for story in unit_story(records, serial)
        for step in story.steps
        if step.station_run is not None and step.result is not None
    ]


def overlay_of(records: RecordsReader, measured: Sequence[Measured]) -> bytes:
    """Return the curves of at most six measurements over one another, as SVG.

    Values in the legend are those on record.  Raises InputError where none can be drawn.
    """
    drawn = [_read(records, one) for one in measured[-MOST:]]
    if not drawn:
        raise InputError("no measurement is on record; there is no curve yet")
    with _DRAWING:
        return overlay_picture([record for record, _ in drawn], [result for _, result in drawn])


def shapes_in(measured: Measured) -> tuple[Shape, ...]:
    """Return which pictures at set currents a measurement has."""
    return shapes_of(measured.step.content.curve) if measured.step.content else ()


def picture_of(records: RecordsReader, measured: Measured, shape: Shape | None = None) -> bytes:
    """Return one measurement as SVG: its opening curve, or what a heated unit did over time.

    A `shape` is one of the two pictures at set currents that `shapes_in` names.
    """
    record, result = _read(records, measured)
    with _DRAWING:
        if shape is not None:
            return DRAWN[shape](record, result, "svg")
        if record.element_a is not None:
            return heater_picture(record, result)
        return curve_picture(record, result)


def _read(records: RecordsReader, measured: Measured) -> tuple[CurveRecord, CurveResult]:
    run, kept = measured.step.station_run, measured.step.result
    assert run is not None
    assert kept is not None
    with closing(Journal(records.place)) as journal:
        night = read_run(journal, measured.run)
        used = rested_on(records, night, kept.entry.calibration_ids)
        record = unit_records(night, used.calibration).get(run.entry.station)
    if record is None:
        raise InputError(f"run {measured.run}: recorded too little of the unit to draw")
    found = content_of(kept).curve
    return replace(record, name=measured.called), replace(found, name=measured.called)
