"""A hand measurement's result as people read it."""

from __future__ import annotations

from collections.abc import Iterator

from proofbath.cli.output import console
from proofbath.cli.whole_table import Table
from proofbath.curve.hand_result import HandResult
from proofbath.curve.result import Quantity


def print_hand(result: HandResult, where: str) -> None:
    """Print the result in a table, what limits it, and that it certifies nothing."""
    table = Table(title="Hand measured: not a bench result, never certified")
    for heading in ("what", "value", "why not"):
        table.add_column(heading)
    for row in _rows(result):
        table.add_row(*row)
    shown = console()
    shown.print(table)
    for warned in result.warnings:
        shown.print(f"{warned.code}: {warned.text}", markup=False)
    for name, share_k in largest(result.unpowered_start_to_open_c):
        shown.print(f"uncertain by {name}: {share_k:.2f} K", markup=False)
    readings = _counted(result.readings, "reading")
    shown.print(f"{readings} in {_counted(result.rises, 'heating')}; {where}", markup=False)


Row = tuple[str, str, str]


def _rows(result: HandResult) -> Iterator[Row]:
    threshold_mm = result.setup.threshold_mm
    threshold = f"{threshold_mm:g} mm, zero rate"
    yield _row(f"start-to-open ({threshold})", result.start_to_open_c, "°C")
    for driven, start, shift in result.heater:
        at = _under(driven.element_a, driven.power_w)
        yield _row(f"start-to-open {at}", start, "°C")
        yield _row(f"heater shift {at}", shift, "K")
    if result.heater:
        yield _row("heater shift a watt", result.shift_k_per_w, "K/W")
    for step in result.steps:
        at = f"{_under(step.element_a, step.power_w)}, {step.bath_c:.1f} °C"
        yield _shut_or_open(f"steady lift {at}", step.steady_mm, threshold_mm)
    if result.steps:
        just_c = result.opening_current_a.at.get("bath_c")
        at = "" if just_c is None else f" at {just_c:.1f} °C"
        yield _row(f"current that just opens it{at}", result.opening_current_a, "A", 2)
        yield _row(f"power that just opens it{at}", result.opening_power_w, "W")
    if result.heater or result.steps:
        unpowered = result.unpowered_start_to_open_c
        yield _row(f"start-to-open, unpowered ({threshold})", unpowered, "°C")
    if result.greatest_lift_mm is not None:
        yield "greatest lift read", f"{result.greatest_lift_mm:.2f} mm", ""


def _under(element_a: float, power_w: float | None) -> str:
    return f"at {element_a:.2f} A" + ("" if power_w is None else f", {power_w:.1f} W")


def _counted(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


def _shut_or_open(what: str, lift: Quantity, threshold_mm: float) -> Row:
    """Say of a shut valve how far it may be open at most: no lift is below zero."""
    if lift.value is None or lift.value >= threshold_mm or lift.expanded_uncertainty is None:
        return _row(what, lift, "mm", 2)
    return what, f"shut: 0 to {lift.value + lift.expanded_uncertainty:.2f} mm", ""


def largest(quantity: Quantity) -> list[tuple[str, float]]:
    """Return the three largest contributions to a quantity's uncertainty, (name, share)."""
    shares = [(item.name, abs(item.share)) for item in quantity.contributions]
    return sorted(shares, key=lambda share: -share[1])[:3]


def _row(what: str, quantity: Quantity, unit: str, digits: int = 1) -> Row:
    if quantity.value is None:
        return what, "none", quantity.reason or ""
    value, u = quantity.value, quantity.expanded_uncertainty
    return what, f"{value:.{digits}f} ± {u:.{digits}f} {unit}", ""
