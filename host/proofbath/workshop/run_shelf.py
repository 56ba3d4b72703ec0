"""The runs that documents are written from, each read from the journal once."""

from __future__ import annotations

import datetime as dt

from proofbath.bench.curves import unit_records
from proofbath.bench.in_force import InForce, calibration_in_force
from proofbath.bench.recompute import file_in_force
from proofbath.bench.run import Run, read_run
from proofbath.certificate.evidence import AtCurrents, Branch, ReferenceUnit
from proofbath.certificate.plot import curve_of, powered_curve_of
from proofbath.curve.heated import LEAD_PRIOR_OHM
from proofbath.curve.record import CurveRecord
from proofbath.curve.result import CurveResult
from proofbath.run.plan import NightPlan
from proofbath.store.journal import Journal
from proofbath.store.kinds import Result, StationRun
from proofbath.store.records import RecordsReader
from proofbath.workshop.contents import content_of
from proofbath.workshop.entry import day_of
from proofbath.workshop.history import reference_of
from proofbath.workshop.powered_evidence import at_currents_of
from proofbath.workshop.run_evidence import RunEvidence

FEWEST_LIFT_MM = 0.5
"""A curve that never opened further shows nothing and is left out."""


class RunShelf:
    """The runs that documents were asked about, each read once."""

    def __init__(self, records: RecordsReader, journal: Journal) -> None:
        self._records, self._journal = records, journal
        self._known = dict[tuple[int, tuple[int, ...]], RunEvidence]()
        self._references = dict[int, ReferenceUnit]()

    def evidence(self, run_id: int, calibration_ids: tuple[int, ...]) -> RunEvidence:
        """Return a run as read under the calibrations that a result rests on."""
        key = (run_id, calibration_ids)
        if key not in self._known:
            self._known[key] = self._read(run_id, calibration_ids)
        return self._known[key]

    def reference(self, run: RunEvidence) -> ReferenceUnit:
        """Return the reference unit of a run with both charts, found out once."""
        if run.run_id not in self._references:
            self._references[run.run_id] = reference_of(self._records, run)
        return self._references[run.run_id]

    def _read(self, run_id: int, calibration_ids: tuple[int, ...]) -> RunEvidence:
        night = read_run(self._journal, run_id)
        plan, began = night.plan, night.started
        used = rested_on(self._records, night, calibration_ids)
        curves, at_currents = dict[int, tuple[Branch, ...]](), dict[int, AtCurrents]()
        took_s, found = 0.0, self._results(run_id)
        for station, record in unit_records(night, used.calibration).items():
            result = found.get(station)
            curves[station] = _curve(record, plan, station, used, result)
            if result is not None and (shown := at_currents_of(record, result)) is not None:
                at_currents[station] = shown
            took_s = max(took_s, float(record.t_s[-1]))
        ended = (began + dt.timedelta(seconds=took_s)).date()
        ended = min(ended, self._kept(run_id))
        return RunEvidence(run_id, plan, night.bench, began.date(), ended, curves, at_currents)

    def _kept(self, run_id: int) -> dt.date:
        """Return when a run was put on record: a virtual bench is done before its own clock is."""
        return max(day_of(kept.at) for kept in self._records.current(StationRun, run_id=run_id))

    def _results(self, run_id: int) -> dict[int, CurveResult]:
        """Return what the record says of each station's unit in a run."""
        return {
            run.entry.station: content_of(kept).curve
            for run in self._records.current(StationRun, run_id=run_id)
            for kept in self._records.current(Result, station_run_id=run.root)
        }


def rested_on(records: RecordsReader, night: Run, calibration_ids: tuple[int, ...]) -> InForce:
    """Return what a result rests on: in force on the run's day, or on one it was recomputed for."""
    for on in (night.started.date(), dt.date.max):
        found = calibration_in_force(records, night.bench, on)
        if found.ids == calibration_ids:
            return found
    return file_in_force(night)


def _curve(
    record: CurveRecord, plan: NightPlan, station: int, used: InForce, result: CurveResult | None
) -> tuple[Branch, ...]:
    unit_type = next(plan.type_at(place) for place in plan.station if place.station == station)
    if unit_type is None:
        return ()
    shift = result.quantities.get("shift_k_per_w") if result else None
    if unit_type.element_ohm is None:
        curve = curve_of(record, unit_type.threshold_mm, used.blanks.get(station))
    elif result is not None and shift is not None and shift.value is not None:
        held_s = [(step.t_s, step.until_s) for step in result.heater_steps]
        lead_ohm = _lead_ohm(used, station)
        curve = powered_curve_of(record, unit_type.threshold_mm, shift.value, lead_ohm, held_s)
    else:
        return ()
    highest_mm = max((mm for branch in curve for mm in branch.lift_mm), default=0.0)
    return curve if highest_mm >= FEWEST_LIFT_MM else ()


def _lead_ohm(used: InForce, station: int) -> float:
    """What the leads still hide in the voltage: nothing where a calibration took them off."""
    if used.calibration.station[station - 1].lead_ohm:
        return 0.0
    stated = used.budget.lead_ohm if used.budget else None
    return LEAD_PRIOR_OHM if stated is None else stated
