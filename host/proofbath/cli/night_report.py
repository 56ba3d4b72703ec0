"""What a night says of its units, for people: read, as a table, and what to know beside it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from proofbath.bench.recompute import file_in_force
from proofbath.bench.run import Run
from proofbath.bench.unit_analysis import UnitReport, unit_reports
from proofbath.cli.whole_table import Table
from proofbath.curve.result import Quantity, unknown
from proofbath.proof.specification import LIFT_MM
from proofbath.quantity.levels import OPENING


def night_reports(night: Run) -> list[UnitReport]:
    """Return each unit of a journalled run analysed by the run's own account, blanks left out."""
    return unit_reports(night, file_in_force(night))


def start_of(report: UnitReport) -> Quantity:
    """Return a unit's unpowered start-to-open: measured, else extrapolated from powered runs."""
    measured = report.result.start_to_open_c
    extrapolated = report.result.unpowered_start_to_open_c
    return extrapolated if measured.value is None and extrapolated.value is not None else measured


def opening_of(report: UnitReport, lift_mm: float) -> Quantity:
    """Return where a unit comes to a lift without power: at its threshold the start-to-open."""
    if lift_mm <= report.result.threshold_mm + LIFT_MM:
        return start_of(report)
    levels = report.result.series.get(OPENING, ())
    found = (one for one in levels if abs((one.threshold_mm or 0.0) - lift_mm) <= LIFT_MM)
    why = f"the bath did not lift it by {lift_mm:g} mm without power"
    return next(found, unknown(why, {"lift_mm": lift_mm}))


def starts_table(
    reports: Sequence[UnitReport],
    true_c: Mapping[int, float | None],
    lift_mm: float | None = None,
) -> Table:
    """Return the table of starts-to-open, beside the truth where it is known by station.

    With `lift_mm` it is of that lift instead.
    """
    threshold_mm = reports[0].result.threshold_mm
    at_mm = threshold_mm if lift_mm is None else lift_mm
    what = "Start-to-open" if at_mm <= threshold_mm + LIFT_MM else "Opening"
    table = Table(
        title=f"{what} in °C at {at_mm:g} mm, rising, corrected to zero rate",
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
        found = opening_of(report, at_mm)
        cells = ["none", ""]
        if found.value is not None:
            mark = " *" if found is report.result.unpowered_start_to_open_c else ""
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
