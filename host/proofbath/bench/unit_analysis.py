"""What a journalled night says of each unit: its record, and the result under a calibration."""

from __future__ import annotations

from typing import NamedTuple

from proofbath.bench.calibration import Calibration
from proofbath.bench.curves import unit_records
from proofbath.bench.in_force import InForce
from proofbath.bench.run import Run
from proofbath.bench.told import told_of, with_told
from proofbath.curve.analyse import analyse
from proofbath.curve.bench_budget import BenchBudget
from proofbath.curve.record import CurveRecord
from proofbath.curve.result import CurveResult
from proofbath.run.unit_type import UnitType


class UnitReport(NamedTuple):
    """One loaded unit of a night with its record and what it says."""

    station: int
    serial: str
    role: str
    record: CurveRecord
    result: CurveResult


def unit_result(
    night: Run, record: CurveRecord, unit_type: UnitType, station: int, used: InForce
) -> CurveResult:
    """Return what a run says of a unit of a type at a station under what is in force.

    The record is analysed; what was said of the station while the run went on stands beside it.
    """
    found = analyse(
        record,
        unit_type.threshold_mm,
        unit_type.full_lift_mm,
        _without_leads(used.budget, used.calibration, station),
        blank=used.blanks.get(station),
        element_ohm=unit_type.element_ohm,
    )
    told = told_of(night.notes, station, night.began_s)
    return with_told(found, told, record.element_a is not None)


def unit_reports(night: Run, used: InForce) -> list[UnitReport]:
    """Return each unit of a journalled night analysed, blanks left out."""
    plan, records = night.plan, unit_records(night, used.calibration)
    reports = []
    for place in plan.station:
        unit_type, record = plan.type_at(place), records.get(place.station)
        if unit_type is not None and record is not None:
            result = unit_result(night, record, unit_type, place.station, used)
            reports.append(UnitReport(place.station, place.serial, place.role, record, result))
    return reports


def _without_leads(
    budget: BenchBudget | None, scale: Calibration, station: int
) -> BenchBudget | None:
    """What a calibration took off a station's voltage for its leads is not taken off again."""
    if budget is None or not scale.station[station - 1].lead_ohm:
        return budget
    return budget.model_copy(update={"lead_ohm": 0.0})
