"""A curve's result as tables for people."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from proofbath.cli.output import console
from proofbath.cli.whole_table import Table
from proofbath.curve.current_rows import HEADINGS, CurrentRow, current_rows
from proofbath.curve.result import CurveResult, Quantity

STEADY_W_PER_MIN = 0.01
_UNITS = {
    "lift_mm": "mm",
    "bath_c": "°C",
    "power_w": "W",
    "power_rate_w_per_min": "W/min",
}
_ROWS: dict[str, tuple[str, str]] = {
    "start_to_open_c": ("start-to-open", "°C"),
    "full_open_c": ("full-open", "°C"),
    "full_lift_mm": ("full lift", "mm"),
    "closing_c": ("closing", "°C"),
    "hysteresis_k": ("hysteresis", "K"),
    "zero_return_mm": ("zero return", "mm"),
    "lag_s": ("lag", "s"),
}
_HEATER_ROWS = {
    "unpowered_start_to_open_c": ("unpowered start-to-open", "°C"),
    "shift_k_per_w": ("shift by the heater", "K/W"),
    "heater_ohm": ("heater resistance", "Ω"),
}
_SERIES_ROWS = {
    "temperature_at_c": ("temperature rising", "°C"),
    "lift_at_mm": ("lift rising", "mm"),
    "start_under_power_c": ("start under power", "°C"),
    "closing_under_power_c": ("closing under power", "°C"),
}
_OF_THE_CURRENT = (0, 1)
"""Places of current and power among the headings: each table of currents begins with them."""
_CURRENT_TABLES = {
    "on ramps of the bath": HEADINGS[2:5],
    "at set currents in one bath": HEADINGS[5:],
}


def print_result(result: CurveResult) -> None:
    """Print the quantities, what was asked beside them, heater steps and warnings."""
    count = len(result.cycles)
    table = Table(title=f"{result.name}: {count} cycle{'s' * (count != 1)}", title_justify="left")
    table.add_column("quantity")
    table.add_column("value", justify="right")
    table.add_column("U (95 %)", justify="right")
    table.add_column("stated for")
    powered = result.heater_ohm.value is not None
    for name, (label, unit) in (_ROWS | (_HEATER_ROWS if powered else {})).items():
        table.add_row(label, *_cells(result.quantities[name], unit))
    for name, (label, unit) in _SERIES_ROWS.items():
        for quantity in filter(_ramped, result.series[name]):
            table.add_row(label, *_cells(quantity, unit))
    shown = console()
    shown.print(table)
    rows = current_rows(result)
    if rows:
        print_currents(result.name, rows)
    for warned in result.warnings:
        shown.print(f"{warned.code}: {warned.text}")


def _ramped(quantity: Quantity) -> bool:
    """Leave out what was read on a bath ramp at one current: the table of currents states it."""
    return abs(quantity.at.get("power_rate_w_per_min", math.inf)) > STEADY_W_PER_MIN


def _cells(quantity: Quantity, unit: str) -> tuple[str, str, str]:
    parts = [f"{value:.4g} {_UNITS[name]}" for name, value in quantity.at.items()]
    if quantity.value is None:
        return "none", "", ": ".join([*parts, quantity.reason or ""])
    rate = f"{quantity.rate:.2f} K/min" if isinstance(quantity.rate, float) else quantity.rate
    parts += [f"rate {rate}"] if rate else []
    return f"{quantity.value:.2f} {unit}", f"{quantity.expanded_uncertainty:.2f}", ", ".join(parts)


def print_currents(name: str, rows: Sequence[CurrentRow]) -> None:
    """Print what a unit does at each current, and why what is missing is missing."""
    shown = console()
    for title, headings in _CURRENT_TABLES.items():
        table = _currents_table(f"{name} {title}, ± U (95 %)", headings, rows)
        if table is not None:
            shown.print(table)
    if any(row.extrapolated for row in rows):
        shown.print("* extrapolated from its powered runs to no power")
    for row in rows:
        for reason in row.reasons():
            shown.print(f"{row.element_a:.2f} A: {reason}", markup=False)


def _currents_table(
    title: str, headings: Sequence[str], rows: Sequence[CurrentRow]
) -> Table | None:
    """The unit at each current under some headings, U for about 95 %; None where none was run.

    Rows and columns that nothing was run for are left out.
    """
    places = [HEADINGS.index(heading) for heading in headings]
    cells = [line for row in rows if any((line := row.cells())[place] for place in places)]
    kept = [place for place in places if any(line[place] for line in cells)]
    if not kept:
        return None
    table = Table(title=title, title_justify="left")
    for place in (*_OF_THE_CURRENT, *kept):
        table.add_column(HEADINGS[place], justify="right")
    for line in cells:
        table.add_row(*(line[place] for place in (*_OF_THE_CURRENT, *kept)))
    return table


def print_model(model: dict[str, Any]) -> None:
    """Print the fitted element model, nothing where none was asked for."""
    if not model:
        return
    shown = console()
    if model["parameters"] is None:
        shown.print(f"model: none: {model['reason']}")
        return
    table = Table(title="Element model fitted to the record", title_justify="left")
    table.add_column("parameter")
    table.add_column("value", justify="right")
    table.add_column("u (k = 1)", justify="right")
    for name, cell in model["parameters"].items():
        table.add_row(name, f"{cell['value']:.4g}", f"{cell['standard_uncertainty']:.2g}")
    lags = ", ".join(f"{lag_s:.0f} s at {mm} mm" for mm, lag_s in model["lag_s"].items())
    shown.print(table)
    shown.print(
        f"by the model: start-to-open {model['start_to_open_c']:.2f} °C,"
        f" closing {model['closing_c']:.2f} °C; lag {lags}"
    )
    shown.print(f"fit {model['quality']}")
