"""The numbers a bench shows: those of now, and the last ones known where there are none of now."""

from __future__ import annotations

import math
from typing import Any, Literal, NamedTuple

from proofbath.web.live_run import LiveRun
from proofbath.web.present import Process, Seen, seen_by_process
from proofbath.wire.table import STATIONS

NOTHING: dict[str, Any] = {
    "bath_c": None,
    "setpoint_c": None,
    "lift_mm": [None] * STATIONS,
    "element_a": [None] * STATIONS,
}


class LastKnown(NamedTuple):
    """The bath when it was last known, and how long ago that is in s; null where never."""

    bath_c: float | None
    age_s: float | None


def figures_now(
    run: LiveRun | None, shown: Seen, process: Process | None, now_s: float
) -> dict[str, Any]:
    """Return a bench's numbers of now, ready for JSON; null what is not present.

    They are of the newest run, else of whatever process holds the bench.  `of` says which,
    `good_for_s` how long they may be shown, `last` the bath when it was last known.
    """
    told = seen_by_process(process, now_s)
    of: Literal["run", "process"] | None = None
    now, seen = NOTHING, shown
    if run is not None and shown.present:
        of, now = "run", run.newest()
    elif process is not None and told.present:
        of, seen = "process", told
        now = NOTHING | {key: process.answer[key] for key in NOTHING if key in process.answer}
    last = LastKnown(None if run is None else run.newest()["bath_c"], _known(shown.age_s))
    if process is not None and process.tells and told.age_s <= shown.age_s:
        last = LastKnown(process.answer["bath_c"], _known(told.age_s))
    return {
        **now,
        "of": of,
        "age_s": _known(seen.age_s) if of else None,
        "good_for_s": round(seen.good_for_s, 2) if of else 0.0,
        "last": last._asdict(),
    }


def _known(age_s: float) -> float | None:
    return round(age_s, 1) if math.isfinite(age_s) else None
