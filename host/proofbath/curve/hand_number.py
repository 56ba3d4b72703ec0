"""Numbers as people type them, at a prompt or in a file."""

from __future__ import annotations

import math

NOT_READ = ("", "nan", "-")
"""What stands for a value that nobody read."""


def parse_number(text: str) -> float | None:
    """Return a typed number, by decimal point or comma; None where it is none."""
    try:
        number = float(text.strip().replace(",", "."))
    except ValueError:
        return None
    return number if math.isfinite(number) and "_" not in text else None
