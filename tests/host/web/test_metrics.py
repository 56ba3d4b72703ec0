"""Figures and health: right numbers, in a form Prometheus reads, for those who may see them."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import ExitStack, closing
from pathlib import Path

import httpx
import pytest
from fastapi import FastAPI
from prometheus_client.parser import text_string_to_metric_families

from host.web.committed import Night, write_shop
from host.web.conftest import Browser
from proofbath.store.journal import Journal
from proofbath.web.benches_watch import Watch
from proofbath.web.metrics import mqtt_figures
from proofbath.workshop.serve_settings import ServeSettings
from proofbath.workshop.shop import Shop, open_shop

TOKEN = "lantern-on-the-quay"


@pytest.fixture
def settings() -> ServeSettings:
    return ServeSettings(metrics_token_file="metrics.token")


@pytest.fixture
def by_token(shop: Shop, open_browser: Callable[..., Browser]) -> Callable[..., httpx.Response]:
    (shop.folder / "metrics.token").write_text(TOKEN + "\n")
    browser = open_browser()
    return lambda path, token: browser.get(path, headers={"Authorization": f"Bearer {token}"})


def figures(text: str) -> dict[tuple[str, str], float]:
    return {
        (sample.name, sample.labels.get("bench", "")): sample.value
        for family in text_string_to_metric_families(text)
        for sample in family.samples
    }


def test_figures_count_what_was_committed_since_the_start(
    shop: Shop, app: FastAPI, by_token: Callable[..., httpx.Response]
) -> None:
    with closing(Watch(shop)) as watch, closing(Journal(shop.records.place)) as journal:
        app.state.watch = watch
        watch.look()
        night = Night(journal)
        night.write_second("soak")
        night.write_second(demand_sequence=0)
        watch.look()
        going = figures(by_token("/metrics", TOKEN).text)
        night.end("tripped", "level low")
        watch.look()
        ended = figures(by_token("/metrics", TOKEN).text)
    assert going["proofbath_bench_running", "quay"] == 1
    assert going["proofbath_bench_fresh", "quay"] == 1
    assert going["proofbath_bench_bath_celsius", "quay"] == pytest.approx(100.0, abs=0.005)
    assert going["proofbath_bench_samples_total", "quay"] == 20
    assert going["proofbath_bench_late_ticks_total", "quay"] == 10
    assert going["proofbath_bench_trips_total", "quay"] == 0
    assert ended["proofbath_bench_running", "quay"] == 0
    assert ended["proofbath_bench_trips_total", "quay"] == 1
    assert ended["proofbath_records_unread_total", ""] == 0
    assert ended["process_resident_memory_bytes", ""] > 0


def test_what_waits_for_an_absent_broker_is_counted(tmp_path: Path) -> None:
    with ExitStack() as stack:
        settings = '[mqtt]\nhost = "127.0.0.1"\nkeep_events = 2\nkeep_samples = 3\n'
        shop = stack.enter_context(open_shop(write_shop(tmp_path, settings)))
        watch = stack.enter_context(closing(Watch(shop)))
        journal = stack.enter_context(closing(Journal(shop.records.place)))
        watch.look()
        night = Night(journal)
        for n in range(6):
            night.write_second(f"step {n}")
        watch.look()
        assert watch.mqtt
        found = {
            (sample.name, sample.labels.get("kind", "")): sample.value
            for metric in mqtt_figures(watch.mqtt)
            for sample in metric.samples
        }
    assert found["proofbath_mqtt_connected", ""] == 0
    assert found["proofbath_mqtt_waiting", ""] == 2 + 3
    assert found["proofbath_mqtt_dropped_total", "event"] == 6 - 2
    assert found["proofbath_mqtt_dropped_total", "sample"] == 5 - 3  # the sixth is not over yet


@pytest.mark.parametrize("path", ["/metrics", "/health"])
def test_only_a_viewer_or_the_token_sees_them(
    path: str, by_token: Callable[..., httpx.Response], open_browser: Callable[..., Browser]
) -> None:
    assert by_token(path, TOKEN).status_code in (200, 503)
    for wrong in ("", "lantern", TOKEN + "x", TOKEN.upper()):
        assert by_token(path, wrong).status_code == 403
    assert open_browser().get(path).headers["Location"].startswith("/sign-in")
    assert open_browser("viewer").get(path).status_code in (200, 503)
    assert open_browser("nobody").get(path).status_code == 403


def test_without_a_token_file_no_token_opens(
    shop: Shop, open_browser: Callable[..., Browser]
) -> None:
    (shop.folder / "metrics.token").write_text("\n")
    for given in ("Bearer", "Bearer ", "Bearer None"):
        answer = open_browser().get("/metrics", headers={"Authorization": given})
        assert answer.status_code == 403


def test_health_tells_what_is_wrong(
    shop: Shop, app: FastAPI, by_token: Callable[..., httpx.Response]
) -> None:
    assert by_token("/health", TOKEN).status_code == 503
    with closing(Watch(shop)) as watch:
        app.state.watch = watch
        answer = by_token("/health", TOKEN)
    assert (answer.status_code, answer.json()) == (200, {"well": True, "faults": []})


def test_the_page_lists_every_bench_of_the_records(
    shop: Shop, open_browser: Callable[..., Browser]
) -> None:
    with closing(Journal(shop.records.place)) as journal:
        for name in ("quay", "<b>pier</b>"):
            Night(journal, name).write_second("soak at 60 °C")
    viewer = open_browser("viewer")
    shown = viewer.get("/benches").text
    assert "quay" in shown
    assert "&lt;b&gt;pier&lt;/b&gt;" in shown
    assert "<b>pier" not in shown
    listed = {line["name"]: line for line in viewer.get("/api/benches").json()}
    assert listed["quay"]["bath_c"] is None, "nobody saw its samples come"
    assert listed["quay"]["last_bath_c"] == pytest.approx(100.0, abs=0.05)
    assert listed["quay"]["age_s"] == pytest.approx(13 * 3600, abs=1.0), "it is 7 in the morning"
    assert listed["quay"]["heard"] == "2026-03-01T18:00:00+00:00"
    assert (listed["quay"]["words"], listed["quay"]["ours"]) == ("not known", False)
