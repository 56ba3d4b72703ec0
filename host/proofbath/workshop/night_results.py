"""What a closed run says of its units, under what was in force: contents for the record, files."""

from __future__ import annotations

import datetime as dt
from importlib import metadata
from typing import Any, NamedTuple

from proofbath.bench.calibration import Calibration
from proofbath.bench.description import BenchFile
from proofbath.bench.in_force import InForce, calibration_in_force
from proofbath.bench.night import plan_of
from proofbath.bench.recompute import file_in_force
from proofbath.bench.soaks import probe_differences_k
from proofbath.bench.unit_analysis import UnitReport, unit_reports, unit_result
from proofbath.run.plan import NightPlan
from proofbath.store.journal import Journal, RunLine
from proofbath.store.records import Records
from proofbath.workshop.pooling import budget_for

PROGRAM = f"proofbath {metadata.version('proofbath')}"
"""Name and version of what analyses."""
OWN_STEPS = "own steps"
"""Stands for a profile that is none of those shipped."""


class RunResults(NamedTuple):
    """A run's units analysed: the calibrations used, and the content of each result by station."""

    calibration_ids: tuple[int, ...]
    reports: tuple[UnitReport, ...]
    contents: dict[int, dict[str, Any]]


def run_results(records: Records, journal: Journal, line: RunLine, day: dt.date) -> RunResults:
    """Return what a run that was begun on a day says of its units.

    The budget is steadied by what the run's own units and earlier ones of the type teach.
    """
    plan, used = plan_of(line), _used(records, journal, line, day)
    types = {place.station: plan.type_at(place) for place in plan.station}
    reports = unit_reports(journal, line.run_id, used)
    profile = plan.profile or OWN_STEPS
    tonight = [report.result for report in reports if report.role == "unit"]
    name, bench = plan.unit_type.name, line.head.bench
    budget = budget_for(records, used.budget, bench, name, profile, tonight)
    if budget != used.budget:
        used = used._replace(budget=budget)
        reports = [
            report._replace(result=unit_result(report.record, known, report.station, used))
            for report in reports
            if (known := types[report.station]) is not None
        ]
    apart_k = probe_differences_k(journal, line.run_id, used.calibration)
    beside = {"probe_minus_guard_k": apart_k, "profile": profile, "program": PROGRAM}
    return RunResults(
        used.ids,
        tuple(reports),
        {
            r.station: {**r.result.to_json(), **beside, "unit_type": _name_at(plan, r.station)}
            for r in reports
        },
    )


def _name_at(plan: NightPlan, station: int) -> str:
    known = next(plan.type_at(place) for place in plan.station if place.station == station)
    return known.name if known else ""


def _used(records: Records, journal: Journal, line: RunLine, day: dt.date) -> InForce:
    """What was in force during a run; its records only where they still say what the run used."""
    found = calibration_in_force(records, BenchFile.model_validate_json(line.head.bench_text), day)
    own = Calibration.model_validate_json(line.head.calibration_text)
    return found if found.calibration == own else file_in_force(journal, line.run_id)
