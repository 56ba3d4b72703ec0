"""The verb service: a log kept, shown, and a target chosen."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from host.cli.conftest import Call, Said
from host.proof.engines import newton
from host.proof.test_service import csv_of, drive
from host.workshop.measured_shop import MeasuredShop, Measurement, measured_shop
from proofbath.proof.engine_log import EngineLog
from proofbath.scenario.workshop import OPERATOR


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[MeasuredShop]:
    with measured_shop(tmp_path) as made:
        made.units(["U1"])
        made.batch("A", ["U1"])
        made.night("A", "as-found", {"U1": Measurement(82.0)})
        log = drive(1, hours=1.0)
        peaked = log.coolant_c + 15.0 * (abs(log.t_s - 2400.0) < 8.0)
        (tmp_path / "drive.csv").write_text(csv_of(EngineLog(log.t_s, peaked)))
        yield made


def options(shop: MeasuredShop) -> list[object]:
    return ["--shop", shop.shop.folder / "workshop.toml"]


def add(call: Call, shop: MeasuredShop, *more: object) -> Said:
    return call(
        "service", "add", "U1", shop.shop.folder / "drive.csv", "--fitted", "2025-10-05",
        "--engine", "Kittiwake, port", "--by", OPERATOR, *options(shop), *more,
    )  # fmt: skip


def test_a_log_is_kept_and_shown(call: Call, shop: MeasuredShop) -> None:
    said = add(call, shop)
    assert (said.status, said.err) == (0, "")
    assert "regulates at 87." in said.out
    assert "likely trapped air" in said.out
    assert "idle and driving not told apart" in said.out
    shown = json.loads(call("service", "show", "U1", *options(shop), "--json").out)
    assert shown["offset_k"] == pytest.approx(5.0, abs=0.2)
    assert shown["logs"][0]["engine"] == "Kittiwake, port"
    assert shown["logs"][0]["findings"]["peaks"][0]["above_k"] == pytest.approx(15.0, abs=1.5)
    text = call("service", "show", "U1", *options(shop))
    assert "engine minus bench +" in text.out


def test_a_log_of_a_us_logger_is_asked_and_told(call: Call, shop: MeasuredShop) -> None:
    rows = "".join(f"10/05/2025 {8 + n // 60}:{n % 60:02},{70},{188}\n" for n in range(90))
    (shop.shop.folder / "drive.csv").write_text("Date/Time,ECT in,ECT out\n" + rows)
    asked = add(call, shop)
    assert (asked.status, asked.out) == (2, "")
    assert "may be any of 'ECT in', 'ECT out'" in asked.err
    picked = ["--temperature-column", "ECT out"]
    assert "state the day order: day-month or month-day" in add(call, shop, *picked).err
    told = add(call, shop, *picked, "--day-order", "month-day", "--fahrenheit", "--wanted", "83.5")
    assert (told.status, told.err) == (0, "")
    assert "coolant from 'ECT out' in °F" in told.out
    assert "regulates at 86.7 °C" in told.out  # (188 - 32) / 1.8
    assert "next: runs 3.2 K above the 83.5 °C wanted" in told.out
    assert "order 0.1 mm at 78.8 °C for it" in told.out
    assert "batch order BATCH --serial U1 --at 78.8 --lift 0.1" in told.out
    shown = call("service", "show", "U1", "--wanted", "86", *options(shop), "--json")
    then = json.loads(shown.out)["next"]
    assert (then["act"], then["change"]) == ("leave it", None)


def test_a_stuck_unit_is_named_and_its_engine_not_run(call: Call, shop: MeasuredShop) -> None:
    (shop.shop.folder / "drive.csv").write_text(csv_of(newton(114.0, 12.0, 60.0)))
    said = add(call, shop)
    assert "stuck shut" in said.out
    assert "next: stop the engine, and do not run it with this unit" in said.out
    shown = json.loads(call("service", "show", "U1", *options(shop), "--json").out)
    assert shown["logs"][0]["condition"]["state"] == "stuck shut"
    assert shown["next"]["act"] == "stop the engine"


def test_a_target_is_given_with_its_uncertainty(call: Call, shop: MeasuredShop) -> None:
    said = call("service", "target", "Teal-82", "85", *options(shop))
    assert said.status == 0
    assert "set start-to-open to 82.0 °C on the bench" in said.out  # the prior's 3 K
    assert "guess from memory" in said.out
    shown = json.loads(call("service", "target", "Teal-82", "85", *options(shop), "--json").out)
    assert shown["bench_start_to_open_c"] == pytest.approx(82.0, abs=0.01)
    assert shown["expanded_uncertainty"] > 5.0


def test_a_bad_log_is_refused_and_not_kept(call: Call, shop: MeasuredShop) -> None:
    (shop.shop.folder / "drive.csv").write_text("t_s,coolant_c\n0,80\n1,80\n")
    said = add(call, shop)
    assert (said.status, said.out) == (2, "")
    assert "drive.csv: too short" in said.err
    assert "no log on record" in call("service", "show", "U1", *options(shop)).out
