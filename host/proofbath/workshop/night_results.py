"""What a closed run says of its units, under what was in force: contents for the record, files."""

from __future__ import annotations

import datetime as dt
from importlib import metadata
from typing import NamedTuple

from proofbath.bench.in_force import InForce, calibration_in_force
from proofbath.bench.recompute import file_in_force
from proofbath.bench.result_content import OWN_STEPS, result_contents
from proofbath.bench.run import Run
from proofbath.bench.unit_analysis import UnitReport, unit_reports, unit_result
from proofbath.curve.content import ResultContent
from proofbath.store.records import RecordsReader
from proofbath.workshop.pooling import budget_for

PROGRAM = f"proofbath {metadata.version('proofbath')}"
"""Name and version of what analyses."""


class RunResults(NamedTuple):
    """A run's units analysed: the calibrations used, and the content of each result by station."""

    calibration_ids: tuple[int, ...]
    reports: tuple[UnitReport, ...]
    contents: dict[int, ResultContent]


def run_results(records: RecordsReader, night: Run, day: dt.date) -> RunResults:
    """Return what a run that was begun on a day says of its units.

    The budget is steadied by what the run's own units and earlier ones of the type teach.
    """
    plan, used = night.plan, _used(records, night, day)
    types = {place.station: plan.type_at(place) for place in plan.station}
    reports = unit_reports(night, used)
    profile = plan.profile or OWN_STEPS
    name, bench = plan.unit_type.name, night.head.bench
    tonight = [r.result for r in reports if (at := types[r.station]) and at.name == name]
    budget = budget_for(records, used.budget, bench, name, profile, tonight)
    if budget != used.budget:
        used = used._replace(budget=budget)
        reports = [
            report._replace(result=unit_result(night, report.record, known, report.station, used))
            for report in reports
            if (known := types[report.station]) is not None
        ]
    found = {report.station: report.result for report in reports}
    contents = result_contents(night, found, used.calibration, PROGRAM)
    return RunResults(used.ids, tuple(reports), contents)


def _used(records: RecordsReader, night: Run, day: dt.date) -> InForce:
    """What was in force during a run; its records only where they still say what the run used."""
    found = calibration_in_force(records, night.bench, day)
    return found if found.calibration == night.calibration else file_in_force(night)
