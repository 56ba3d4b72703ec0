"""Figures for a Prometheus server at /metrics, and whether the service is well at /health.

Both are for a signed-in viewer, or for a program that names the token of the file
`[serve] metrics_token_file`.
"""

from __future__ import annotations

import hmac
from collections.abc import Callable, Iterable, Iterator
from typing import Annotated

from fastapi import APIRouter, Depends, HTTPException, Request
from prometheus_client import CollectorRegistry, ProcessCollector, generate_latest
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric
from prometheus_client.exposition import CONTENT_TYPE_LATEST
from prometheus_client.registry import Collector
from starlette.requests import HTTPConnection
from starlette.responses import JSONResponse, Response

from proofbath.files import read_text
from proofbath.run.states import Phase
from proofbath.store.journal import OPEN
from proofbath.web.benches import benches_of
from proofbath.web.benches_now import Benches, BenchNow
from proofbath.web.benches_watch import Watch
from proofbath.web.deps import Need, SessionOf
from proofbath.web.frame import frame_of
from proofbath.web.mqtt import MqttService
from proofbath.workshop.shop import Shop

router = APIRouter(include_in_schema=False)


class ViewerOrToken(Need):
    """Lets in a viewer, or who names the token of the file."""

    def __init__(self) -> None:
        super().__init__("viewer")

    def __call__(self, signed: SessionOf, connection: HTTPConnection) -> None:  # type: ignore[override]
        """Let in or raise 401 or 403; who names a token is judged by it alone."""
        given = connection.headers.get("authorization")
        if given is None:
            super().__call__(signed)
        elif not _named(given, _token(frame_of(connection).shop)):
            raise HTTPException(403, "not the token of [serve] metrics_token_file")


Reader = Annotated[None, Depends(ViewerOrToken())]


@router.get("/metrics")
def metrics(request: Request, _reader: Reader) -> Response:
    """Return all figures as text."""
    watch: Watch | None = getattr(request.app.state, "watch", None)
    registry = CollectorRegistry(auto_describe=False)
    ProcessCollector(registry=registry)
    registry.register(Figures(benches_of(request.app), watch))
    return Response(generate_latest(registry), media_type=CONTENT_TYPE_LATEST)


@router.get("/health")
def health(request: Request, _reader: Reader) -> JSONResponse:
    """Return whether the benches are watched and the records can be read; 503 where not."""
    watch: Watch | None = getattr(request.app.state, "watch", None)
    fault = watch.fault if watch else "the benches are not watched; start the service again"
    faults = [fault] if fault else []
    return JSONResponse({"well": not faults, "faults": faults}, 503 if faults else 200)


class Figures(Collector):
    """How benches and broker stand, as metrics; made anew for each answer."""

    def __init__(self, benches: Benches, watch: Watch | None) -> None:
        self._benches = benches
        self._watch = watch

    def collect(self) -> Iterable[Metric]:
        """Yield every metric."""
        now_s, benches = self._benches.clock(), [*self._benches.now.values()]
        yield from bench_figures(benches, now_s)
        if self._watch:
            failures = CounterMetricFamily(
                "proofbath_records_unread", "Looks that could not read the records."
            )
            failures.add_metric([], self._watch.failures)
            yield failures
            if self._watch.mqtt:
                yield from mqtt_figures(self._watch.mqtt)


Ask = Callable[[BenchNow], float | None]


def bench_figures(benches: list[BenchNow], now_s: float) -> Iterator[Metric]:
    """Yield what is told of each bench."""

    def present(value: Ask) -> Ask:
        return lambda bench: value(bench) if bench.fresh(now_s) else None

    gauges: dict[str, tuple[str, Ask]] = {
        "running": ("1 while a run is open.", lambda b: b.status == OPEN),
        "fresh": ("1 while the newest sample is present.", lambda b: b.fresh(now_s)),
        "tripped": ("1 while the newest sample has a trip.", lambda b: b.trip is not None),
        "run": ("Number of the newest run.", lambda b: b.run_id),
        "bath_celsius": ("Bath temperature, while present.", present(lambda b: b.bath_c)),
        "guard_celsius": ("Guard probe, while present.", present(lambda b: b.guard_c)),
        "heater_duty_ratio": ("Bath heater's duty, while present.", present(lambda b: b.duty)),
    }
    for name, (meaning, value) in gauges.items():
        gauge = GaugeMetricFamily(f"proofbath_bench_{name}", meaning, labels=["bench"])
        for bench in benches:
            if (found := value(bench)) is not None:
                gauge.add_metric([bench.name], float(found))
        yield gauge
    counters: dict[str, tuple[str, Ask]] = {
        "samples": ("Samples committed.", lambda b: b.samples),
        "gaps": ("Places where samples were lost on the way.", lambda b: b.gaps),
        "late_ticks": ("Samples whose demand in force was an old one.", lambda b: b.late_ticks),
        "trips": ("Runs that ended by a trip.", lambda b: b.ends.get(Phase.TRIPPED.value, 0)),
    }
    for name, (meaning, value) in counters.items():
        counter = CounterMetricFamily(f"proofbath_bench_{name}", meaning, labels=["bench"])
        for bench in benches:
            counter.add_metric([bench.name], value(bench) or 0)
        yield counter
    ended = CounterMetricFamily(
        "proofbath_bench_runs_ended", "Runs that ended, by how.", labels=["bench", "status"]
    )
    for bench in benches:
        for status, count in bench.ends.items():
            ended.add_metric([bench.name, status], count)
    yield ended


def mqtt_figures(service: MqttService) -> Iterator[Metric]:
    """Yield what is told of each bench's link to the broker."""
    connected = GaugeMetricFamily(
        "proofbath_mqtt_connected", "1 while the broker answers.", labels=["bench"]
    )
    waiting = GaugeMetricFamily(
        "proofbath_mqtt_waiting", "Messages that wait for the broker.", labels=["bench"]
    )
    delivered = CounterMetricFamily(
        "proofbath_mqtt_delivered", "Messages handed to the broker.", labels=["bench"]
    )
    dropped = CounterMetricFamily(
        "proofbath_mqtt_dropped", "Messages dropped, by kind.", labels=["bench", "kind"]
    )
    for name, link in service.links.items():
        outbox = service.tellers[name].outbox
        connected.add_metric([name], float(link.connected))
        waiting.add_metric([name], len(outbox))
        delivered.add_metric([name], link.delivered)
        dropped.add_metric([name, "sample"], outbox.dropped_samples)
        dropped.add_metric([name, "event"], outbox.dropped_events)
    yield from (connected, waiting, delivered, dropped)


def _named(given: str, token: str | None) -> bool:
    kind, _, value = given.partition(" ")
    right = token is not None and hmac.compare_digest(value.strip().encode(), token.encode())
    return right and kind.lower() == "bearer"


def _token(shop: Shop) -> str | None:
    place = shop.file.serve.metrics_token_file
    if place is None:
        return None
    return read_text(shop.folder / place).partition("\n")[0].strip() or None
