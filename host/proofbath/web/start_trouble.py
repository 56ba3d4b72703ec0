"""A night that tripped, was stopped or broke off: what happened, when, and what to do."""

from __future__ import annotations

import datetime as dt
import math
from contextlib import closing
from urllib.parse import urlencode

from proofbath.store.journal import OPEN, Journal
from proofbath.store.kinds import Batch, StationRun
from proofbath.web.api_shapes import Shape
from proofbath.web.bath_now import Look, time_in_words
from proofbath.web.benches_now import BenchNow
from proofbath.web.live_run import standing_alarm
from proofbath.wire.trip_words import end_words
from proofbath.workshop.keeping import loadings_of
from proofbath.workshop.shop import ShopView

MORNING = dt.timedelta(hours=24)
"""So long after its end a night stands on the start page."""


class Trouble(Shape):
    """A night that tripped, was stopped or broke off: what, when, and what to do."""

    run: int
    status: str
    what: str
    reason: str
    when: str
    """In words; empty where it is not known."""
    todo: tuple[str, ...]
    alarm: str
    """What stands since, such as heat that goes on; empty for nothing."""
    batch: str
    batch_number: int | None
    kept: bool
    """Whether what it measured is on record."""
    fresh: bool
    """Whether it ended within a day."""
    address: str
    """The page that shows the run."""


def trouble_of(shop: ShopView, bench: str, now: BenchNow, look: Look) -> Trouble:
    """Return what is told of the newest run of a bench that was not done."""
    assert now.run_id is not None, "only a run has trouble"
    with closing(Journal(shop.records.place)) as journal:
        events = journal.events(now.run_id)
        kept = not loadings_of(journal, now.run_id)
    kept = kept or bool(shop.records.current(StationRun, run_id=now.run_id))
    end_s = next((e.t_s for e in reversed(events) if e.kind == "run_end"), now.t_s)
    over, since = False, ""
    for event in events:
        over, since = standing_alarm(event, over, since)
    said = end_words(now.status, now.trip)
    age_s = ended_age_s(now, end_s, look.at)
    batches = shop.records.current(Batch, name=now.batch) if now.batch else []
    process = look.process  # results are kept when it has seen the bath cool
    ours = process is not None and process.carries(now.run_id, look.records)
    alarm = process.alarm() if process is not None and ours else ""
    return Trouble(
        run=now.run_id,
        status="tripped" if now.trip else now.status,
        what=said.what,
        reason="" if now.trip else now.reason,
        when=ended_words(age_s, look.at),
        todo=("Leave the lid on; look from where you stand for steam, leaks, smell.", said.remedy),
        alarm=alarm or since,
        batch=now.batch or "",
        batch_number=batches[0].root if batches else None,
        kept=kept or now.status == OPEN or ours,
        fresh=age_s < MORNING.total_seconds(),
        address=f"/bench?{urlencode({'name': bench})}",
    )


def ended_age_s(now: BenchNow, end_s: float | None, at: str) -> float:
    """Return how long ago a run ended, in s; infinite where that is not known."""
    sampled = now.sampled()
    if sampled is None or end_s is None or now.first_s is None:
        return math.inf
    return sampled._replace(passed_s=max(0.0, end_s - now.first_s)).by_calendar_s(at)


def ended_words(age_s: float, at: str) -> str:
    """Return when something was that is so old."""
    if math.isinf(age_s):
        return ""
    when = dt.datetime.fromisoformat(at) - dt.timedelta(seconds=age_s)
    return time_in_words(when.astimezone(), age_s)
