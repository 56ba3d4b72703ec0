"""May the bath be opened?  What the start page says of it, and nothing that is not known."""

from __future__ import annotations

import datetime as dt
import math
from typing import Literal

from proofbath.run.profiles import OPEN_C
from proofbath.web.api_shapes import Shape
from proofbath.web.bath_now import BathNow, Look, bath_now, last_words, standing_of
from proofbath.web.benches_now import BenchNow
from proofbath.web.live_standing import Standing

NEW_S = 120.0
"""A bath that was hot so short a time ago is hot."""
OWN_LOCK = dt.timedelta(seconds=30)
"""A run takes its bench within so long after the time it is told to have begun."""


class BathState(Shape):
    """The bath: its temperature now, else the last one; `may_open` where it is known to be cool."""

    bath_c: float | None
    """Of now, °C; null where nothing younger than 3 s is known."""
    last_c: float | None
    """The last that is known."""
    age_s: float | None
    """How old that is."""
    sampled: str
    """When that was taken, ISO 8601; empty where no sample is known."""
    last: str
    """The same in words."""
    may_open: Literal["yes", "no", "not known"]
    words: str


def bath_state(now: BenchNow, look: Look, taken: dt.datetime | None = None) -> BathState:
    """Return whether a bath may be opened, by what is known of it.

    `taken` is when a process last took the bench: one that did so after the last sample may have
    heated it and kept its record elsewhere.
    """
    bath, found = bath_now(now, look), standing_of(now, look)
    may_open, words = _may_open(bath, found, now, taken)
    return BathState(
        bath_c=bath.bath_c,
        last_c=bath.last_c,
        age_s=None if math.isinf(bath.age_s) else round(bath.age_s, 1),
        sampled=bath.sampled,
        last=last_words(bath),
        may_open=may_open,
        words=words,
    )


MayOpen = tuple[Literal["yes", "no", "not known"], str]
NO_SAMPLE: MayOpen = ("not known", "No sample is known: measure before you open the bath.")
SHUT: MayOpen = ("not known", "Another program runs this bench: keep the bath shut.")
UNHEARD: MayOpen = (
    "not known",
    "The bench is not heard of: measure before you open the bath.",
)
BY_STANDING: dict[str, MayOpen] = {
    "busy": SHUT,
    "starting": SHUT,
    "stale": UNHEARD,
    "lost": UNHEARD,
    "running": ("no", "A night runs: keep the bath shut."),
}
HOT: MayOpen = ("no", f"Hot: keep it shut until it is below {OPEN_C:g} °C.")
WAS_HOT: MayOpen = (
    "not known",
    "It was hot at the last sample: measure before you open the bath.",
)


def _may_open(bath: BathNow, found: Standing, now: BenchNow, taken: dt.datetime | None) -> MayOpen:
    if bath.last_c is None and found.word not in ("busy", "starting"):
        return NO_SAMPLE
    if found.word in BY_STANDING or bath.last_c is None:
        return BY_STANDING[found.word]
    if bath.bath_c is not None and bath.bath_c >= OPEN_C:
        return HOT  # its run is over, and its process still watches the bath
    if bath.last_c >= OPEN_C:
        return HOT if bath.age_s <= NEW_S else WAS_HOT
    doubt = TRIPPED if now.trip else WATCHED if bath.bath_c is not None else ""
    if not doubt and taken_since(now, bath, taken):
        doubt = "Another program used this bench since: measure before you open it."
    if doubt:
        return "not known", doubt
    return "yes", f"Below {OPEN_C:g} °C at the last sample, no run since: it may be opened."


TRIPPED = "It tripped: what heated it may heat it still. Measure before you open the bath."
WATCHED = "Its process still watches the bench: wait until it ends."


def taken_since(now: BenchNow, bath: BathNow, taken: dt.datetime | None) -> bool:
    """Whether somebody else took the bench after the last sample of its newest run."""
    if taken is None or now.head is None:
        return False
    own = dt.datetime.fromisoformat(now.head.started) + OWN_LOCK
    return taken > max(own, dt.datetime.fromisoformat(bath.sampled))
