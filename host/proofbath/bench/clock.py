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
