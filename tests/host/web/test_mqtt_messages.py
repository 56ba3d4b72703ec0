"""What is told: samples thinned honestly, results whole, each field in the handbook."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest

from host.bench.samples import sample
from host.bench.shop_night import OPENS_C, shop_night
from host.web.committed import SUM_AT_100_C, Night
from proofbath.bench.calibration import Calibration
from proofbath.bench.recompute import file_in_force, put_result
from proofbath.bench.run import read_run
from proofbath.description import parse_toml
from proofbath.errors import InputError
from proofbath.store.journal import Journal
from proofbath.store.row import ROW, pack
from proofbath.web.benches_follow import Follower
from proofbath.web.benches_now import Benches
from proofbath.web.mqtt import MqttService
from proofbath.web.mqtt_payloads import TOPICS
from proofbath.web.mqtt_results import ResultFollower
from proofbath.web.mqtt_samples import MOST_AT_ONCE, Thinner
from proofbath.web.mqtt_teller import Teller
from proofbath.web.mqtt_told import ToldFile
from proofbath.workshop.mqtt_settings import MqttSettings

PAGE = Path(__file__).parents[3] / "rig_docs" / "mqtt.md"


def rows(first: int, count: int, **changed: int) -> np.ndarray:
    made = [
        pack(sample(**{"sequence": n, "device_ms": 100 * n, "bath_sum": SUM_AT_100_C, **changed}))
        for n in range(first, first + count)
    ]
    return np.frombuffer(b"".join(made), ROW)


def test_a_span_is_told_once_however_the_chunks_are_cut() -> None:
    thinner = Thinner(1, Calibration(), every_s=1.0)
    told = [m for first in range(0, 35, 7) for m in thinner.take(rows(first, 7))]
    told += thinner.take(rows(35, 0), last=True)
    assert [m.samples for m in told] == [10, 10, 10, 5]
    assert [m.t_s for m in told] == [0.45, 1.45, 2.45, 3.2]


def test_every_sample_can_be_told_and_none() -> None:
    assert len(Thinner(1, Calibration(), 0.1).take(rows(0, 10), last=True)) == 10
    assert Thinner(1, Calibration(), 0.0).take(rows(0, 10), last=True) == []


def test_a_bench_faster_than_life_is_thinned_and_no_sample_left_out_of_the_means() -> None:
    told = Thinner(1, Calibration(), 1.0).take(rows(0, 5000), last=True)
    assert len(told) <= MOST_AT_ONCE + 1
    assert sum(m.samples for m in told) == 5000


def test_a_probe_without_a_reading_is_null_and_spoils_no_mean() -> None:
    mixed = np.concatenate([rows(0, 5, bath_fault=4), rows(5, 5)])
    (whole,) = Thinner(1, Calibration(), 1.0).take(mixed, last=True)
    assert whole.bath_c == pytest.approx(100.0, abs=0.005)
    (faulty,) = Thinner(1, Calibration(), 1.0).take(rows(0, 10, bath_fault=4), last=True)
    assert faulty.bath_c is None


@pytest.fixture
def teller() -> Teller:
    return Teller(MqttSettings(host="broker", state_every_s=10.0), "Quay No. 2", True)


def payloads(teller: Teller, name: str) -> list[dict[str, object]]:
    found = []
    while (message := teller.outbox.first()) is not None:
        teller.outbox.told(message)
        if message.topic == f"proofbath/quay-no-2/{name}":
            found.append(json.loads(message.payload))
    return found


def test_the_state_is_told_on_change_and_every_so_often(teller: Teller, tmp_path: Path) -> None:
    now_s = [100.0]
    benches = Benches(["quay"], clock=lambda: now_s[0])
    journal = Journal(tmp_path / "r.sqlite")
    with closing(Follower(tmp_path / "r.sqlite")) as follower:
        night = Night(journal)
        steps = ((101.0, "soak", 1), (102.0, "", 1), (103.0, "", 0), (104.0, "ramp", 1))
        for at_s, step, told in steps:  # at the first look nobody saw the samples come
            night.write_second(step)
            now_s[0] = at_s
            benches.take(follower.look())
            teller.stand(benches.now["quay"], at_s)
            assert len(payloads(teller, "state")) == told
        teller.stand(benches.now["quay"], 108.5)  # the samples stay away
        (away,) = payloads(teller, "state")
        assert (away["fresh"], away["bath_c"]) == (False, None)
        assert away["last_bath_c"] == pytest.approx(100.0, abs=0.005)  # IEC 60751
        teller.stand(benches.now["quay"], 118.5)
        assert len(payloads(teller, "state")) == 1


@pytest.fixture
def results(tmp_path: Path) -> Iterator[ResultFollower]:
    night = shop_night(tmp_path / "shop.db")
    with closing(ResultFollower(night.records)) as follower:
        used = file_in_force(read_run(night.journal, night.run_id))
        put_result(night.records, night.journal, night.station_run_id, used, "1.0", night.stamp)
        yield follower
    night.records.close()


def test_a_result_is_told_with_its_unit_and_uncertainty(results: ResultFollower) -> None:
    (found,) = results.look()
    assert found.bench == "quay"
    told = found.result
    assert (told.serial, told.station, told.stage) == ("T82-0101", 3, "as-found")
    opens = told.quantities["start_to_open_c"]
    assert opens.value == pytest.approx(OPENS_C, abs=0.3)
    assert opens.expanded_uncertainty is not None
    assert results.look() == []


def test_the_handbook_names_every_topic_and_every_field() -> None:
    page = PAGE.read_text(encoding="utf-8")
    for topic, model in TOPICS.items():
        assert f"## `{topic}`" in page
        part = page.split(f"## `{topic}`")[1].split("\n## ")[0]
        missing = [name for name in model.model_fields if f"`{name}`" not in part]
        assert not missing, (topic, missing)


def test_two_benches_that_would_share_a_topic_are_refused(tmp_path: Path) -> None:
    told = ToldFile(tmp_path / "told.json")
    with pytest.raises(InputError, match="quay-2"):
        MqttService(MqttSettings(host="b"), tmp_path, {"Quay 2": True, "quay-2": True}, told)


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ('user = "u"', "exactly one of password_env and password_file"),
        ('user = "u"\npassword_file = "p"', "a password needs tls"),
        ('ca_file = "ca.pem"', "need tls"),
        ('tls = true\ncert_file = "c.pem"', "go together"),
        ('prefix = "shop/#"', "prefix"),
    ],
)
def test_settings_that_are_unsafe_or_unclear_are_refused(text: str, fault: str) -> None:
    with pytest.raises(InputError, match=fault):
        parse_toml(f'host = "broker.example"\n{text}', MqttSettings, "mqtt")


def test_a_password_comes_from_a_file_or_the_environment(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "secret").write_text("ferry\nsecond line\n")
    monkeypatch.setenv("QUAY_PASSWORD", "river")
    of_file = MqttSettings(host="localhost", user="u", password_file="secret")
    assert of_file.password(tmp_path) == "ferry"
    of_environment = MqttSettings(host="localhost", user="u", password_env="QUAY_PASSWORD")
    assert of_environment.password(tmp_path) == "river"
    monkeypatch.delenv("QUAY_PASSWORD")
    with pytest.raises(InputError, match="QUAY_PASSWORD"):
        of_environment.password(tmp_path)


def test_how_far_was_told_is_kept_and_never_goes_back(tmp_path: Path) -> None:
    told = ToldFile(tmp_path / "told.json")
    for mark in (("7", 3), ("7", 5), ("7", 4), ("result", 12)):
        told.take(mark)
    told.save()
    again = ToldFile(tmp_path / "told.json")
    assert (again.runs(), again.result()) == ({7: 5}, 12)
    (tmp_path / "told.json").write_text("[1, 2")
    assert ToldFile(tmp_path / "told.json").runs() == {}
