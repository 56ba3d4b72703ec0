"""A hand measurement's result as people read it."""

from __future__ import annotations

from proofbath.cli.output import console
from proofbath.cli.whole_table import Table
from proofbath.curve.hand_result import HandResult
from proofbath.curve.result import Quantity


def print_hand(result: HandResult, where: str) -> None:
    """Print the result in a table, what limits it, and that it certifies nothing."""
    table = Table(title="Hand measured: not a bench result, never certified")
    for heading in ("what", "value", "why not"):
        table.add_column(heading)
    threshold = f"{result.setup.threshold_mm:g} mm, zero rate"
    table.add_row(f"start-to-open ({threshold})", *_cells(result.start_to_open_c, "°C"))
    for driven, start, shift in result.heater:
        power = "" if driven.power_w is None else f", {driven.power_w:.1f} W"
        at = f"at {driven.element_a:.2f} A{power}"
        table.add_row(f"start-to-open {at}", *_cells(start, "°C"))
        table.add_row(f"heater shift {at}", *_cells(shift, "K"))
    if result.heater:
        table.add_row("heater shift a watt", *_cells(result.shift_k_per_w, "K/W"))
    for step in result.steps:
        power = "" if step.power_w is None else f", {step.power_w:.1f} W"
        at = f"at {step.element_a:.2f} A{power}, {step.bath_c:.1f} °C"
        table.add_row(f"steady lift {at}", *_cells(step.steady_mm, "mm", 2))
    if result.steps:
        just = result.opening_current_a.at.get("bath_c")
        where = "" if just is None else f" at {just:.1f} °C"
        table.add_row(
            f"current that just opens it{where}", *_cells(result.opening_current_a, "A", 2)
        )
        table.add_row(f"power that just opens it{where}", *_cells(result.opening_power_w, "W"))
    if result.heater or result.steps:
        unpowered = result.unpowered_start_to_open_c
        table.add_row(f"start-to-open, unpowered ({threshold})", *_cells(unpowered, "°C"))
    if result.greatest_lift_mm is not None:
        table.add_row("greatest lift read", f"{result.greatest_lift_mm:.2f} mm", "")
    shown = console()
    shown.print(table)
    for warned in result.warnings:
        shown.print(f"{warned.code}: {warned.text}", markup=False)
    for name, share_k in largest(result.unpowered_start_to_open_c):
        shown.print(f"uncertain by {name}: {share_k:.2f} K", markup=False)
    shown.print(f"{result.readings} readings in {result.rises} heatings; {where}", markup=False)


def largest(quantity: Quantity) -> list[tuple[str, float]]:
    """Return the three largest contributions to a quantity's uncertainty, (name, share)."""
    shares = [(item.name, abs(item.share)) for item in quantity.contributions]
    return sorted(shares, key=lambda share: -share[1])[:3]


def _cells(quantity: Quantity, unit: str, digits: int = 1) -> tuple[str, str]:
    if quantity.value is None:
        return "none", quantity.reason or ""
    return f"{quantity.value:.{digits}f} ± {quantity.expanded_uncertainty:.{digits}f} {unit}", ""
