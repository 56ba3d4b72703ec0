"""Quantities of a heated unit at a set current, and what each of them is stated at."""

from __future__ import annotations

SHUT_K = 10.0
"""So far below its start every sound valve has shut again (common practice, no source)."""
IN_A_BATH = ("lift_at_current_mm", "lift_after_mm")
AT_A_CURRENT = (
    *IN_A_BATH,
    "start_at_current_c",
    "full_open_at_current_c",
    "closing_at_current_c",
)
LIFTS_AFTER_S = (60.0, 120.0, 180.0, 240.0, 300.0, 600.0)
"""Times at which the lift is read after a current came on: a limit states one of them."""
