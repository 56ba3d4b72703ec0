"""What the process that holds a bench says of itself: one line of JSON, with its reading's age."""

from __future__ import annotations

import json
from math import isfinite
from typing import Any

from proofbath.bench.clock import Clock, monotonic_s
from proofbath.bench.night import Progressed
from proofbath.run.course import PAUSE_LIMIT_S


class Status:
    """The newest reading and when it was taken; told by one thread and asked for by another."""

    def __init__(self, records: str, wall_s: Clock = monotonic_s) -> None:
        """`records` tells the journal that is written to from others, `wall_s` is life's clock."""
        self._records = records
        self._wall_s = wall_s
        self._told: tuple[Progressed, float] | None = None

    def take(self, now: Progressed) -> None:
        """Keep what was committed just now."""
        self._told = now, self._wall_s()

    def text(self) -> str:
        """Return one line of JSON; an empty object before the first reading.

        `age_s` is life's time since the reading came, whatever the bench's own clock does.
        """
        told = self._told
        if told is None:
            return "{}"
        now, at_s = told
        return json.dumps(status_of(now) | {"records": self._records, "age_s": self._age_s(at_s)})

    def _age_s(self, at_s: float) -> float:
        return round(max(0.0, self._wall_s() - at_s), 2)


def status_of(now: Progressed) -> dict[str, Any]:
    """Return how a run stands, ready for JSON."""
    reading = now.reading
    return {
        "run": now.run_id,
        "phase": now.phase,
        "doing": now.doing,
        "paused_s": round(now.paused_s, 1),
        "pause_limit_s": PAUSE_LIMIT_S,
        "alarm": now.alarm,
        "step": now.progress.label,
        "fraction": round(now.progress.fraction, 4),
        "left_s": _known(now.progress.left_s),
        "t_s": reading.t_s,
        "bath_c": _known(reading.bath_c),
        "guard_c": _known(reading.guard_c),
        "duty": reading.duty,
        "lift_mm": [_known(lift) for lift in reading.lift_mm],
        "element_a": [_known(current) for current in reading.element_a],
    }


def _known(value: float) -> float | None:
    return round(value, 4) if isfinite(value) else None
