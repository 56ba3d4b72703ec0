"""What a unit does at each current, a row a current: as tables, pages and files show it."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from proofbath.curve.at_currents import same_current
from proofbath.curve.result import CurveResult, HeaterStep, Quantity, unknown

NOT_RUN = unknown("no bath ramp was run at this current")
HEADINGS = (
    "A",
    "W",
    "opens at °C",
    "full at °C",
    "closes at °C",
    "in °C",
    "opens after s",
    "90 % after s",
    "steady lift mm",
    "shuts after s",
)
_QUANTITIES = ("opens", "full_open", "closes")
COLUMNS = (
    "serial,element_a,power_w,start_c,start_u_k,full_open_c,full_open_u_k,closing_c,closing_u_k"
    ",extrapolated,step_bath_c,opens_after_s,after_90_percent_s,steady_lift_mm,steady_lift_u_mm"
    ",shuts_after_s,reasons"
)
"""The header of the file of currents; an empty cell has its reason in the last column."""


@dataclass(frozen=True)
class CurrentRow:
    """One current: bath temperatures of a ramp at it, and one step of it at one bath, if run."""

    element_a: float
    power_w: float
    opens: Quantity = NOT_RUN
    full_open: Quantity = NOT_RUN
    closes: Quantity = NOT_RUN
    step: HeaterStep | None = None
    threshold_mm: float = 0.1
    extrapolated: bool = False
    """Whether the opening was not met at this current but reckoned from others."""

    @property
    def opens_after_s(self) -> float | None:
        """Time from switching on to the threshold."""
        return self.step.response_s.get(self.threshold_mm) if self.step else None

    def reasons(self) -> tuple[str, ...]:
        """Return why values of this row are missing, in words."""
        missing = []
        for name in _QUANTITIES:
            quantity: Quantity = getattr(self, name)
            if quantity.value is None and quantity is not NOT_RUN:
                missing.append(f"{name.replace('_', ' ')}: {quantity.reason}")
        if self.step and self.step.steady_lift.value is None:
            missing.append(f"steady lift: {self.step.steady_lift.reason}")
        return tuple(dict.fromkeys(missing))

    def cells(self) -> tuple[str, ...]:
        """Return the row as text under `HEADINGS`; "none" was sought and not found."""
        step = self.step
        return (
            f"{self.element_a:.2f}",
            f"{self.power_w:.1f}",
            _with_u(self.opens) + (" *" if self.extrapolated else ""),
            _with_u(self.full_open),
            _with_u(self.closes),
            f"{step.bath_c:.1f}" if step else "",
            _seconds(self.opens_after_s) if step else "",
            _seconds(step.to_90_percent_s) if step else "",
            _with_u(step.steady_lift) if step else "",
            _seconds(step.closing_s) if step else "",
        )


def _with_u(quantity: Quantity) -> str:
    if quantity is NOT_RUN:
        return ""
    if quantity.value is None or quantity.expanded_uncertainty is None:
        return "none"
    value = round(quantity.value, 2) + 0.0  # no minus before a zero
    return f"{value:.2f} ± {quantity.expanded_uncertainty:.2f}"


def _seconds(value: float | None) -> str:
    return "–" if value is None else f"{value:.0f}"


def current_rows(result: CurveResult) -> list[CurrentRow]:
    """Return a row for each current a unit was run at, no current first, empty if never powered."""
    steps = list(result.heater_steps)
    ramps = _ramps(result)
    if not steps and not ramps:
        return []
    rows = [_without_current(result)]
    rows += [_with_step(row, steps) for row in ramps]
    rows += [
        CurrentRow(
            step.settled.element_a,
            step.settled.power_w,
            step=step,
            threshold_mm=result.threshold_mm,
        )
        for step in steps
    ]
    return sorted(rows, key=lambda row: (round(row.element_a, 2), row.step.t_s if row.step else 0))


def _without_current(result: CurveResult) -> CurrentRow:
    measured, reckoned = result.start_to_open_c, result.unpowered_start_to_open_c
    extrapolated = measured.value is None and reckoned.value is not None
    opens = reckoned if extrapolated else measured
    full, closes = result.full_open_c, result.closing_c
    if measured.value is None:
        full = closes = NOT_RUN
    return CurrentRow(
        0.0, 0.0, opens, full, closes, None, result.threshold_mm, extrapolated=extrapolated
    )


def _ramps(result: CurveResult) -> list[CurrentRow]:
    starts = result.series.get("start_at_current_c", ())
    full = result.series.get("full_open_at_current_c", ()) or (NOT_RUN,) * len(starts)
    closes = result.series.get("closing_at_current_c", ())
    rows = []
    for one, other, last in zip(starts, full, closes, strict=True):
        amps, power_w = one.at["element_a"], one.at["power_w"]
        rows.append(CurrentRow(amps, power_w, one, other, last, threshold_mm=result.threshold_mm))
    return rows


def _with_step(row: CurrentRow, steps: list[HeaterStep]) -> CurrentRow:
    """Take the first step of a row's current that opened, out of the steps, into the row."""
    mine = [s for s in steps if same_current(s.settled.element_a, row.element_a)]
    if not mine:
        return row
    chosen = max(mine, key=lambda s: (s.steady_lift.value or 0.0) > row.threshold_mm)
    steps.remove(chosen)
    return CurrentRow(
        row.element_a,
        row.power_w,
        row.opens,
        row.full_open,
        row.closes,
        chosen,
        row.threshold_mm,
    )


def to_csv(units: Iterable[tuple[str, Sequence[CurrentRow]]]) -> str:
    """Return the file of currents: a line for each unit and current, times in s, lifts in mm."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS.split(","))
    for serial, rows in units:
        for row in rows:
            writer.writerow([serial, *_csv_cells(row)])
    return out.getvalue()


def _csv_cells(row: CurrentRow) -> list[str]:
    step = row.step
    numbers: list[float | None] = [row.element_a, row.power_w]
    for quantity in (row.opens, row.full_open, row.closes):
        numbers += [quantity.value, quantity.expanded_uncertainty]
    after: list[float | None] = [None] * 6
    if step:
        lift = step.steady_lift
        after = [step.bath_c, row.opens_after_s, step.to_90_percent_s]
        after += [lift.value, lift.expanded_uncertainty, step.closing_s]
    marked = "yes" if row.extrapolated else "no"
    return [*map(_number, numbers), marked, *map(_number, after), "; ".join(row.reasons())]


def _number(value: float | None) -> str:
    return "" if value is None else f"{round(value, 3) + 0.0:.3f}"
