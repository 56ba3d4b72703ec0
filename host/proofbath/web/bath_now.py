"""The bath of a bench as it may be shown: its temperature now, or the last one with its age."""

from __future__ import annotations

import datetime as dt
import math
from typing import NamedTuple

from proofbath.store.journal import OPEN
from proofbath.web.benches_now import BenchNow
from proofbath.web.live_chunks import RunState
from proofbath.web.live_standing import Standing, standing
from proofbath.web.present import UNSEEN, Process, Seen, seen_by_process, seen_in_run


class BathNow(NamedTuple):
    """A bath, °C; `bath_c` only where it is present, `last_c` the last that is known."""

    bath_c: float | None = None
    last_c: float | None = None
    age_s: float = math.inf
    """How old the last one is."""
    sampled: str = ""
    """When that was taken, ISO 8601; empty where no sample is known."""
    ours: bool = False
    """Whether the process that holds the bench carries its newest run."""


class Look(NamedTuple):
    """What is asked for when a bench is looked at."""

    process: Process | None
    """What holds it on this computer."""
    records: str
    """Tells the records of its runs from others."""
    now_s: float
    at: str
    """Now, by a clock that never jumps and by the calendar."""


def bath_now(now: BenchNow, look: Look) -> BathNow:
    """Return how the bath of a bench may be shown."""
    shown, ours = _seen(now, look)
    process, told = look.process, seen_by_process(look.process, look.now_s)
    by_process = process is not None and process.tells and not shown.present
    if process is not None and by_process and (told.present or told.age_s <= shown.age_s):
        return _bath(process.answer["bath_c"], told.present, told.age_s, look.at, ours)
    return _bath(now.bath_c, shown.present, shown.age_s, look.at, ours)


def standing_of(now: BenchNow, look: Look) -> Standing:
    """Return how a bench stands."""
    shown, ours = _seen(now, look)
    run = None if now.run_id is None else RunState(now.run_id, now.status, now.reason)
    return standing(run, shown, look.process, ours)


def _seen(now: BenchNow, look: Look) -> tuple[Seen, bool]:
    process, sampled = look.process, now.sampled()
    ours = process is not None and process.carries(now.run_id, look.records)
    if sampled is None or now.t_s is None:
        return UNSEEN, ours
    opened = now.status == OPEN
    return seen_in_run(
        sampled, opened, process, ours=ours, t_s=now.t_s, now_s=look.now_s, at=look.at
    ), ours


def _bath(bath_c: float | None, present: bool, age_s: float, at: str, ours: bool) -> BathNow:
    if bath_c is None or math.isinf(age_s):
        return BathNow(ours=ours)
    sampled = dt.datetime.fromisoformat(at) - dt.timedelta(seconds=age_s)
    text = sampled.isoformat(timespec="seconds")
    return BathNow(bath_c if present else None, bath_c, age_s, text, ours)


def last_words(bath: BathNow, places: int = 1) -> str:
    """Return a bath's last temperature with its time and age, empty where none is known."""
    if bath.last_c is None:
        return ""
    when = dt.datetime.fromisoformat(bath.sampled).astimezone()
    return f"last {bath.last_c:.{places}f} °C {time_in_words(when, bath.age_s)}"


def time_in_words(when: dt.datetime, age_s: float) -> str:
    """Return a time of the bench's computer and how long ago that is."""
    day = "" if age_s < DAY_S / 2 else f" on {when:%Y-%m-%d}"
    return f"at {when:%H:%M}{day}, {age_in_words(age_s)}"


DAY_S = 86_400.0


def age_in_words(age_s: float) -> str:
    """Return how long ago something was."""
    if age_s < 60:
        return f"{age_s:.0f} s ago"
    minutes = int(age_s // 60)
    if minutes < 120:
        return f"{minutes} min ago"
    return f"{minutes // 60} h ago" if minutes < 48 * 60 else f"{minutes // 1440} days ago"
