"""What the start page shows: is the bath safe to open, last night's units, tonight's list."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from contextlib import closing
from urllib.parse import urlencode

from starlette.requests import HTTPConnection

from proofbath.bench.cautions import NIGHT as CAUTIONS
from proofbath.bench.connect import bench_last_taken
from proofbath.bench.in_force import blocking_reasons
from proofbath.bench.night import HEATING_TEST
from proofbath.errors import ProofbathError
from proofbath.run.plan import Stage
from proofbath.store.journal import OPEN, Journal
from proofbath.store.kinds import Batch, Loading, Result, StationRun, Unit
from proofbath.store.tables import place_key
from proofbath.web.api_shapes import Shape
from proofbath.web.bath_now import Look, standing_of
from proofbath.web.benches import benches_of, in_words
from proofbath.web.benches_now import BenchNow
from proofbath.web.frame import frame_of
from proofbath.web.live_hub import asking
from proofbath.web.night_look import look as look_at_night
from proofbath.web.start_bath import BathState, bath_state
from proofbath.web.start_trouble import MORNING, Trouble, ended_age_s, trouble_of
from proofbath.wire.table import STATIONS
from proofbath.workshop.batch_view import batch_view
from proofbath.workshop.charts import reference_chart_of
from proofbath.workshop.contents import content_of
from proofbath.workshop.findings import warnings_in
from proofbath.workshop.keeping import loadings_of
from proofbath.workshop.next_step import NextStep
from proofbath.workshop.planning import due, plan_night
from proofbath.workshop.shop import Shop, ShopView
from proofbath.workshop.snapshot import Snapshot
from proofbath.workshop.story import batch_story
from proofbath.workshop.unit_view import start_in, values_in
from proofbath.workshop.value_shapes import Stated

STAGES: tuple[Stage, ...] = ("as-left", "as-found")


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
    start: Stated | None
    deviation_k: float | None
    deviation_u_k: float | None
    next_step: str
    next_code: NextStep | None
    """The next step for programs; null where no certificate is in question."""
    next_about: str
    refusals: tuple[str, ...]
    warnings: tuple[str, ...]
    certificate: str | None
    ordered: Stated | None = None
    """What it does of what was ordered; `deviation_k` is from that then."""


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
    once = ShopView(shop.file, shop.path, Snapshot(shop.records))
    found = []
    for name in shop.bench_files():
        process = asking(shop.bench(name), benches.clock)()
        look = Look(process, records, benches.clock(), frame.utc())
        found.append(_bench(once, name, benches.now.get(name) or BenchNow(name), look))
    return StartState(at=frame.utc(), benches=tuple(found), cautions=CAUTIONS)


def _bench(shop: ShopView, name: str, now: BenchNow, look: Look) -> BenchStart:
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
        trouble=trouble_of(shop, name, now, look) if troubled else None,
    )


def _tonight(shop: ShopView, bench: str, at: str) -> tuple[Tonight | None, list[str]]:
    """Return the night that is due next on a bench, and what is overdue at it."""
    for batch in reversed(shop.records.current(Batch)):
        name = batch.entry.name
        stories = batch_story(shop.records, name)
        for stage in STAGES:
            if due(stories, stage):
                return _planned(shop, bench, name, batch.root, stage, at)
    return None, blocking_reasons(shop.records, shop.bench(bench), dt.date.fromisoformat(at[:10]))


def _planned(
    shop: ShopView, bench: str, batch: str, number: int, stage: Stage, at: str
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
        seen = look_at_night(shop, plan, bench, at)
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


def _last_night(shop: ShopView, bench: str, now: BenchNow, at: str) -> LastNight | None:
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


def _cards(shop: ShopView, bench: str, runs: list[StationRun], at: str) -> Iterator[UnitCard]:
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
            **unit.model_dump(include={*UnitCard.model_fields} - {"outcome", "ordered"}),
            ordered=unit.ordered,
            station=run.station,
            role="unit",
            batch=batch.batch,
            batch_number=batch.number,
            outcome=unit.outcome or "not judged",
            start=start_in(unit.as_left) or start_in(unit.as_found),
        )


def _plain_card(shop: ShopView, bench: str, run: StationRun, serial: str, role: str) -> UnitCard:
    """Return the card of a reference unit, or of a trial outside any batch."""
    kept = [
        result
        for at_station in shop.records.current(StationRun, run_id=run.run_id)
        if at_station.entry.station == run.station
        for result in shop.records.current(Result, station_run_id=at_station.root)
    ]
    content = content_of(kept[0]) if kept else None
    start = start_in(values_in(content)) if content else None
    outcome, step, off_k = "measured", "", None
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
        next_code=None,
        next_about="",
        refusals=(),
        warnings=warnings_in(content) if content else (),
        certificate=None,
    )
