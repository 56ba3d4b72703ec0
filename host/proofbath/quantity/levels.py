"""Lifts at which every result states where a unit's rising curve passes them."""

from __future__ import annotations

LEVELS_MM = (0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0, 11.0, 12.0)
OPENING = "opening_at_lift_c"
"""Name of the temperature of a lift, rising at zero rate, unpowered."""


def level_like(lift_mm: float) -> float | None:
    """Return the level that a lift is, None where it is none of them."""
    return next((level for level in LEVELS_MM if abs(level - lift_mm) < 1e-6), None)
