"""Wall time, read in this file alone; everything else is given a clock."""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import UTC, datetime

Clock = Callable[[], float]
"""Seconds that never jump; only differences mean anything."""

monotonic_s: Clock = time.monotonic


def utc_text() -> str:
    """Return the present time as ISO 8601 UTC to the second."""
    return datetime.now(UTC).isoformat(timespec="seconds")


def seconds_of_day() -> float:
    """Return the seconds since local midnight."""
    now = datetime.now()
    return now.hour * 3600.0 + now.minute * 60.0 + now.second
