"""A curve's result as tables for people."""

from __future__ import annotations

from typing import Any

from rich.table import Table

from proofbath.cli.output import console
from proofbath.curve.result import CurveResult, Quantity

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
        for quantity in result.series[name]:
            table.add_row(label, *_cells(quantity, unit))
    shown = console()
    shown.print(table)
    if result.heater_steps:
        shown.print(_steps_table(result))
    for warned in result.warnings:
        shown.print(f"{warned.code}: {warned.text}")


def _cells(quantity: Quantity, unit: str) -> tuple[str, str, str]:
    parts = [f"{value:.4g} {_UNITS[name]}" for name, value in quantity.at.items()]
    if quantity.value is None:
        return "none", "", ": ".join([*parts, quantity.reason or ""])
    rate = f"{quantity.rate:.2f} K/min" if isinstance(quantity.rate, float) else quantity.rate
    parts += [f"rate {rate}"] if rate else []
    return f"{quantity.value:.2f} {unit}", f"{quantity.expanded_uncertainty:.2f}", ", ".join(parts)


def _steps_table(result: CurveResult) -> Table:
    """The element's answers to being switched on at set currents."""
    table = Table(title="Heater switched on", title_justify="left")
    for heading in ("at s", "bath °C", "A", "W", "Ω", "mm after s", "steady lift"):
        table.add_column(heading, justify="right")
    for step in result.heater_steps:
        reached = ", ".join(f"{mm:g} after {s:.0f}" for mm, s in step.response_s.items())
        steady = f"{step.steady_lift_mm:.2f} mm" if step.steady_lift_mm is not None else "moving"
        numbers = (f"{step.t_s:.0f}", f"{step.bath_c:.2f}", f"{step.element_a:.3f}")
        table.add_row(
            *numbers, f"{step.power_w:.2f}", f"{step.resistance_ohm:.2f}", reached or "none", steady
        )
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
