"""What the start page shows: is the bath safe to open, last night's units, tonight's list."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from typing import Literal
from urllib.parse import urlencode

from starlette.requests import HTTPConnection

from proofbath.bench.cautions import NIGHT as CAUTIONS
from proofbath.bench.connect import bench_last_taken
from proofbath.bench.in_force import blocking_reasons
from proofbath.bench.night import HEATING_TEST
from proofbath.bench.notes import note_in
from proofbath.errors import ProofbathError
from proofbath.run.plan import Stage
from proofbath.run.profiles import OPEN_C
from proofbath.store.journal import OPEN, Journal
from proofbath.store.kinds import Batch, Loading, Result, StationRun, Unit
from proofbath.store.tables import place_key
from proofbath.web.api_shapes import Shape
from proofbath.web.bath_now import BathNow, Look, bath_now, last_words, standing_of, time_in_words
from proofbath.web.benches import benches_of, in_words
from proofbath.web.benches_now import BenchNow
from proofbath.web.frame import frame_of
from proofbath.web.live_hub import asking
from proofbath.web.live_standing import Standing
from proofbath.web.live_words import end_words
from proofbath.web.night_look import look
from proofbath.wire.table import STATIONS
from proofbath.workshop.batch_view import batch_view
from proofbath.workshop.charts import reference_chart_of
from proofbath.workshop.findings import warnings_in
from proofbath.workshop.keeping import loadings_of
from proofbath.workshop.planning import due, plan_night
from proofbath.workshop.shop import Shop
from proofbath.workshop.snapshot import Snapshot
from proofbath.workshop.story import batch_story
from proofbath.workshop.unit_view import Value, start_in, values_in

MORNING = dt.timedelta(hours=24)
"""So long after its end a night's results stand on the start page."""
STAGES: tuple[Stage, ...] = ("as-left", "as-found")
NEW_S = 1800.0
"""A bath that was hot so short a time ago is hot: it cools by less than 2 K a minute."""
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


class Hung(Shape):
    """What is to hang at a station; no serial: it stays empty."""

    station: int
    serial: str
    role: str


class Tonight(Shape):
    """The night that is due next, as it would be if it began now; times of day."""

    batch: str
    batch_number: int
    stage: Stage
    stations: tuple[Hung, ...]
    fill_above_switch_l: float | None
    ready_at: str
    cold_at: str
    warnings: tuple[str, ...]
    faults: tuple[str, ...]
    """Why it cannot be planned so."""
    address: str
    """The page that plans it."""


class UnitCard(Shape):
    """One unit of a night: its verdict, how far from nominal it opens (K, with U), what to do."""

    station: int
    serial: str
    role: str
    batch: str
    batch_number: int | None
    outcome: str
    start: Value | None
    deviation_k: float | None
    deviation_u_k: float | None
    next_step: str
    refusals: tuple[str, ...]
    warnings: tuple[str, ...]
    certificate: str | None


class LastNight(Shape):
    """The newest run of a bench that has ended; not `kept`: its results are not on record yet."""

    run: int
    status: str
    reason: str
    started: str
    kept: bool
    fresh: bool
    """Whether it ended within a day."""
    units: tuple[UnitCard, ...]


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


class BenchStart(Shape):
    """A bench on the start page; `sign` good, warn, bad, wait or plain."""

    name: str
    sign: str
    words: str
    running: bool
    run: int | None
    batch: str
    step: str
    bath: BathState
    overdue: tuple[str, ...]
    tonight: Tonight | None
    last_night: LastNight | None
    """The newest run, where it was done."""
    trouble: Trouble | None
    """The newest run, where it was not."""


class StartState(Shape):
    """The whole start page as of a time, UTC."""

    at: str
    benches: tuple[BenchStart, ...]
    cautions: tuple[str, ...]


def start_state(connection: HTTPConnection, shop: Shop) -> StartState:
    """Return what the start page shows; writes nothing."""
    frame = frame_of(connection)
    benches, records = benches_of(connection.app), place_key(shop.records.place)
    once = replace(shop, records=Snapshot(shop.records))
    found = []
    for name in shop.bench_files():
        process = asking(shop.bench(name), benches.clock)()
        look = Look(process, records, benches.clock(), frame.utc())
        found.append(_bench(once, name, benches.now.get(name) or BenchNow(name), look))
    return StartState(at=frame.utc(), benches=tuple(found), cautions=CAUTIONS)


def _bench(shop: Shop, name: str, now: BenchNow, look: Look) -> BenchStart:
    found = standing_of(now, look)
    open_run = now.status == OPEN
    troubled = now.run_id is not None and (now.trip is not None or now.status not in ("done", OPEN))
    running = open_run and not troubled
    tonight, overdue = None, list[str]()
    if not running:
        tonight, overdue = _tonight(shop, name, look.at)
    return BenchStart(
        name=name,
        sign=found.sign,
        words=in_words(now, found),
        running=running,
        run=now.run_id,
        batch=now.batch or "",
        step=now.step,
        bath=bath_state(now, look, bench_last_taken(shop.bench(name))),
        overdue=tuple(overdue),
        tonight=tonight,
        last_night=None if open_run or troubled else _last_night(shop, name, now, look.at),
        trouble=_trouble(shop, name, now, look) if troubled else None,
    )


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


def _may_open(bath: BathNow, found: Standing, now: BenchNow, taken: dt.datetime | None) -> MayOpen:
    if found.word in ("busy", "starting"):
        return "not known", "Another program runs this bench: keep the bath shut."
    if bath.last_c is None:
        return "not known", "No sample is known: measure before you open the bath."
    if found.word in ("stale", "lost"):
        return "not known", "The bench is not heard of: measure before you open the bath."
    if found.word == "running":
        return "no", "A night runs: keep the bath shut."
    hot = "no", f"Hot: keep it shut until it is below {OPEN_C:g} °C."
    if bath.bath_c is not None:  # its run is over, and its process still watches the bath
        return hot if bath.bath_c >= OPEN_C else ("not known", TRIPPED if now.trip else WATCHED)
    if taken_since(now, bath, taken):
        return "not known", "Another program used this bench since: measure before you open it."
    if bath.last_c >= OPEN_C:
        old = "not known", "It was hot at the last sample: measure before you open the bath."
        return hot if bath.age_s <= NEW_S else old
    if now.trip is not None:
        return "not known", TRIPPED
    return "yes", f"Below {OPEN_C:g} °C at the last sample, no run since: it may be opened."


TRIPPED = "It tripped: what heated it may heat it still. Measure before you open the bath."
WATCHED = "Its process still watches the bench: wait until it ends."


def taken_since(now: BenchNow, bath: BathNow, taken: dt.datetime | None) -> bool:
    """Whether somebody else took the bench after the last sample of its newest run."""
    if taken is None or now.head is None:
        return False
    own = dt.datetime.fromisoformat(now.head.started) + OWN_LOCK
    return taken > max(own, dt.datetime.fromisoformat(bath.sampled))


def _trouble(shop: Shop, bench: str, now: BenchNow, look: Look) -> Trouble:
    assert now.run_id is not None, "only a run has trouble"
    with closing(Journal(shop.records.place)) as journal:
        events = journal.events(now.run_id)
        kept = not loadings_of(journal, now.run_id)
    kept = kept or bool(shop.records.current(StationRun, run_id=now.run_id))
    end_s = next((e.t_s for e in events if e.kind == "run_end"), now.t_s)
    since = [note_in(e).text for e in events if e.kind == "alarm" and e.t_s > (end_s or math.inf)]
    said = end_words(now.status, now.trip)
    age_s = ended_age_s(now, end_s, look.at)
    batches = shop.records.current(Batch, name=now.batch) if now.batch else []
    alarm = look.process.alarm() if look.process else ""
    return Trouble(
        run=now.run_id,
        status="tripped" if now.trip else now.status,
        what=said.what,
        reason="" if now.trip else now.reason,
        when=ended_words(age_s, look.at),
        todo=("Leave the lid on; look from where you stand for steam, leaks, smell.", said.remedy),
        alarm=alarm or next(reversed(since), ""),
        batch=now.batch or "",
        batch_number=batches[0].root if batches else None,
        kept=kept or now.status == OPEN,
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


def _tonight(shop: Shop, bench: str, at: str) -> tuple[Tonight | None, list[str]]:
    """Return the night that is due next on a bench, and what is overdue at it."""
    for batch in reversed(shop.records.current(Batch)):
        name = batch.entry.name
        stories = batch_story(shop.records, name)
        for stage in STAGES:
            if due(stories, stage):
                return _planned(shop, bench, name, batch.root, stage, at)
    return None, blocking_reasons(shop.records, shop.bench(bench), dt.date.fromisoformat(at[:10]))


def _planned(
    shop: Shop, bench: str, batch: str, number: int, stage: Stage, at: str
) -> tuple[Tonight, list[str]]:
    query = urlencode({"bench": bench, "batch": batch, "stage": stage})
    shown = Tonight(
        batch=batch,
        batch_number=number,
        stage=stage,
        stations=(),
        fill_above_switch_l=None,
        ready_at="",
        cold_at="",
        warnings=(),
        faults=(),
        address=f"/night?{query}",
    )
    try:
        plan = plan_night(shop, batch, stage, bench)
        seen = look(shop, plan, bench, at)
    except ProofbathError as error:
        on = dt.date.fromisoformat(at[:10])
        reasons = blocking_reasons(shop.records, shop.bench(bench), on)
        return shown.model_copy(update={"faults": error.faults}), reasons
    hung = {place.station: place for place in plan.station}
    told = seen["seen"]
    update = {
        "stations": tuple(
            Hung(station=n, serial=hung[n].serial, role=hung[n].role)
            if n in hung
            else Hung(station=n, serial="", role="empty")
            for n in range(1, STATIONS + 1)
        ),
        "fill_above_switch_l": told.checked.fill_above_switch_l,
        "ready_at": told.ready_at,
        "cold_at": told.cold_at,
        "warnings": tuple(told.checked.warnings),
    }
    return shown.model_copy(update=update), seen["blocks"]


def _last_night(shop: Shop, bench: str, now: BenchNow, at: str) -> LastNight | None:
    if now.run_id is None or now.head is None or now.head.plan_text == HEATING_TEST:
        return None
    runs = shop.records.current(StationRun, run_id=now.run_id)
    if not runs:
        with closing(Journal(shop.records.place)) as journal:
            if not loadings_of(journal, now.run_id):
                return None
    age_s = ended_age_s(now, now.t_s, at)
    return LastNight(
        run=now.run_id,
        status=now.status,
        reason=now.reason,
        started=now.head.started,
        kept=bool(runs),
        fresh=age_s < MORNING.total_seconds(),
        units=tuple(_cards(shop, bench, [run.entry for run in runs], at)),
    )


def _cards(shop: Shop, bench: str, runs: list[StationRun], at: str) -> Iterator[UnitCard]:
    on, views = dt.date.fromisoformat(at[:10]), {}
    for run in sorted(runs, key=lambda run: run.station):
        loading = shop.records.one(Loading, run.loading_id).entry
        if loading.unit_id is None:
            continue
        serial = shop.records.one(Unit, loading.unit_id).entry.serial
        if loading.place == "reference" or loading.batch_id is None:
            yield _plain_card(shop, bench, run, serial, loading.place)
            continue
        if loading.batch_id not in views:
            name = shop.records.one(Batch, loading.batch_id).entry.name
            views[loading.batch_id] = batch_view(shop, name, on)
        batch = views[loading.batch_id]
        unit = next(unit for unit in batch.units if unit.serial == serial)
        yield UnitCard(
            **unit.model_dump(include={*UnitCard.model_fields} - {"outcome"}),
            station=run.station,
            role="unit",
            batch=batch.batch,
            batch_number=batch.number,
            outcome=unit.outcome or "not judged",
            start=start_in(unit.as_left) or start_in(unit.as_found),
        )


def _plain_card(shop: Shop, bench: str, run: StationRun, serial: str, role: str) -> UnitCard:
    """Return the card of a reference unit, or of a trial outside any batch."""
    kept = [
        result
        for at_station in shop.records.current(StationRun, run_id=run.run_id)
        if at_station.entry.station == run.station
        for result in shop.records.current(Result, station_run_id=at_station.root)
    ]
    content = kept[0].entry.content if kept else {}
    start, outcome, step, off_k = start_in(values_in(content)), "measured", "", None
    if role == "reference":
        chart = reference_chart_of(shop.records, bench, serial, run.run_id)
        outcome = "out of control" if chart.blocked else "in control"
        step = f"record the cause on the page Reference unit: {chart.blocked}"
        step = step if chart.blocked else "leave it where it is"
        if chart.points and start is not None and start.value is not None:
            off_k = start.value - chart.points[-1].centre
    return UnitCard(
        station=run.station,
        serial=serial,
        role=role,
        batch="",
        batch_number=None,
        outcome=outcome,
        start=start,
        deviation_k=off_k,
        deviation_u_k=None,
        next_step=step,
        refusals=(),
        warnings=warnings_in(content),
        certificate=None,
    )
