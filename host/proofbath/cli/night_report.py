"""What a night says of its units, for people: read, as a table, and what to know beside it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from proofbath.bench.recompute import file_in_force
from proofbath.bench.run import Run
from proofbath.bench.unit_analysis import UnitReport, unit_reports
from proofbath.cli.whole_table import Table
from proofbath.curve.result import Quantity


def night_reports(night: Run) -> list[UnitReport]:
    """Return each unit of a journalled run analysed by the run's own account, blanks left out."""
    return unit_reports(night, file_in_force(night))


def start_of(report: UnitReport) -> Quantity:
    """Return a unit's unpowered start-to-open: measured, else extrapolated from powered runs."""
    measured = report.result.start_to_open_c
    extrapolated = report.result.unpowered_start_to_open_c
    return extrapolated if measured.value is None and extrapolated.value is not None else measured


def starts_table(reports: Sequence[UnitReport], true_c: Mapping[int, float | None]) -> Table:
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


def remarks(reports: Sequence[UnitReport]) -> list[str]:
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
