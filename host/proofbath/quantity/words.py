"""What quantities and their units are called, on paper and on screens."""

from __future__ import annotations

from proofbath.quantity.levels import OPENING

UNITS = {
    "_k_per_w": "K/W",
    "_ohm": "Ω",
    "_min": "min",
    "_mm": "mm",
    "_c": "°C",
    "_k": "K",
    "_s": "s",
}
WORDS = {
    "start_to_open_c": "Start-to-open, rising",
    "opening_at_lift_c": "Opening at a lift, rising",
    "full_open_c": "Full-open, rising",
    "full_lift_mm": "Full lift",
    "closing_c": "Closing, falling",
    "hysteresis_k": "Hysteresis",
    "zero_return_mm": "Zero return",
    "repeatability_k": "Repeatability of start-to-open",
    "unpowered_start_to_open_c": "Start-to-open, unpowered",
    "start_under_power_c": "Start-to-open, powered",
    "closing_under_power_c": "Closing, powered",
    "start_at_current_c": "Start-to-open at a set current, rising",
    "full_open_at_current_c": "Full-open at a set current, rising",
    "closing_at_current_c": "Closing at a set current, falling",
    "lift_at_current_mm": "Steady lift at a set current",
    "lift_after_mm": "Lift after a set current came on",
    "shift_k_per_w": "Shift by the heater",
    "heater_ohm": "Heater resistance",
    "lag_s": "Lag",
}


def unit_of(quantity: str) -> str:
    """Return the unit that a quantity's name ends on, as printed."""
    return next(unit for suffix, unit in UNITS.items() if quantity.endswith(suffix))


def words_of(quantity: str, lift_mm: float | None = None) -> str:
    """Return what a quantity is called on paper; an opening at a lift by the lift, if given."""
    if quantity == OPENING and lift_mm is not None:
        return f"{lift_mm:g} mm open, rising"
    return WORDS.get(quantity, quantity.replace("_", " ").capitalize())


def difference_unit_of(quantity: str) -> str:
    """Return the unit of a difference of two values of a quantity."""
    unit = unit_of(quantity)
    return "K" if unit == "°C" else unit
