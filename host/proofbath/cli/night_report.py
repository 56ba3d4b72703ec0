"""What a night leaves behind: each unit's curve, picture and result, as files and as a table."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NamedTuple

from rich.table import Table

from proofbath.bench.calibration import Calibration
from proofbath.bench.curves import unit_records
from proofbath.bench.description import BenchFile
from proofbath.curve.analyse import analyse
from proofbath.curve.bench_budget import BenchBudget
from proofbath.curve.picture import batch_picture
from proofbath.curve.record import CurveRecord, to_csv
from proofbath.curve.result import CurveResult, Quantity
from proofbath.errors import InputError
from proofbath.run.plan import NightPlan
from proofbath.store.journal import Journal


class UnitReport(NamedTuple):
    """One loaded unit of a night with its record and what it says."""

    station: int
    serial: str
    role: str
    record: CurveRecord
    result: CurveResult


def make_folder(out: Path) -> None:
    """Make the folder for a night's files; raises InputError when it cannot be."""
    try:
        (out / "curves").mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(
            f"{out}: cannot be written: {error.strerror}; name another folder"
        ) from error


def read_night(
    journal: Journal, run_id: int, calibration: Calibration | None = None
) -> list[UnitReport]:
    """Return each unit of a journalled run analysed, blanks left out."""
    head = journal.run(run_id).head
    plan = NightPlan.model_validate_json(head.plan_text)
    budget = BenchFile.model_validate_json(head.bench_text).budget
    scale = calibration or Calibration.model_validate_json(head.calibration_text)
    records = unit_records(journal, run_id, scale)
    reports = []
    for place in plan.station:
        unit_type = plan.type_at(place)
        record = records.get(place.station)
        if unit_type is not None and record is not None:
            known = _without_leads(budget, scale, place.station)
            result = analyse(
                record,
                unit_type.threshold_mm,
                unit_type.full_lift_mm,
                known,
                element_ohm=unit_type.element_ohm,
            )
            reports.append(UnitReport(place.station, place.serial, place.role, record, result))
    return reports


def _without_leads(
    budget: BenchBudget | None, scale: Calibration, station: int
) -> BenchBudget | None:
    """What a calibration took off a station's voltage for its leads is not taken off again."""
    if budget is None or not scale.station[station - 1].lead_ohm:
        return budget
    return budget.model_copy(update={"lead_ohm": 0.0})


def start_of(report: UnitReport) -> Quantity:
    """Return a unit's unpowered start-to-open: measured, else extrapolated from powered runs."""
    measured = report.result.start_to_open_c
    extrapolated = report.result.unpowered_start_to_open_c
    return extrapolated if measured.value is None and extrapolated.value is not None else measured


def write_night(out: Path, reports: list[UnitReport]) -> None:
    """Write each unit's curve as CSV and the batch's pictures into a folder."""
    for report in reports:
        (out / "curves" / f"{report.serial}.csv").write_text(to_csv(report.record))
    records, results = [r.record for r in reports], [r.result for r in reports]
    (out / "curves.svg").write_bytes(batch_picture(records, results, "svg"))
    (out / "curves.png").write_bytes(batch_picture(records, results, "png"))


def write_json(path: Path, value: dict[str, Any]) -> None:
    """Write one JSON object."""
    path.write_text(json.dumps(value, indent=2, allow_nan=False) + "\n")


def starts_table(reports: list[UnitReport], true_c: Mapping[int, float | None]) -> Table:
    """Return the table of starts-to-open, beside the truth where it is known by station."""
    threshold_mm = reports[0].result.threshold_mm
    table = Table(
        title=f"Start-to-open in °C at {threshold_mm:g} mm, rising, corrected to zero rate",
        title_justify="left",
    )
    for heading in (
        "station",
        "unit",
        "measured",
        "U (95 %)",
        *(("true", "off") if true_c else ()),
    ):
        table.add_column(heading, justify="left" if heading == "unit" else "right")
    for report in reports:
        found = start_of(report)
        cells = ["none", ""]
        if found.value is not None:
            mark = "" if found is report.result.start_to_open_c else " *"
            cells = [f"{found.value:.2f}{mark}", f"{found.expanded_uncertainty:.2f}"]
        truth_c = true_c.get(report.station)
        if truth_c is not None:
            off = "" if found.value is None else f"{found.value - truth_c:+.2f}"
            cells += [f"{truth_c:.2f}", off]
        table.add_row(str(report.station), report.serial, *cells)
    return table


def remarks(reports: list[UnitReport]) -> list[str]:
    """Return what a person should know beside the table: missing values, then warnings."""
    units: dict[str, list[str]] = {}
    for report in reports:
        start = start_of(report)
        if start is report.result.unpowered_start_to_open_c:
            units.setdefault("* extrapolated from its powered runs to no power", []).append(
                report.serial
            )
        if start.value is None:
            units.setdefault(f"no start-to-open: {start.reason}", []).append(report.serial)
    for report in reports:
        for warned in report.result.warnings:
            units.setdefault(f"{warned.code}: {warned.text}", []).append(report.serial)
    return [
        f"{'all units' if len(serials) == len(reports) else ', '.join(serials)}: {text}"
        for text, serials in units.items()
    ]
