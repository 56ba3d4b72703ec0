"""The verbs rework and statistics, from records to tables and JSON."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from host.cli.conftest import Call
from host.workshop.measured_shop import MeasuredShop, Measurement, measured_shop
from proofbath.proof.rework_kind import Sealed


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[MeasuredShop]:
    with measured_shop(tmp_path) as made:
        made.units(["U1", "U2", "U3", "U4"], "L1")
        made.batch("ferry 12", ["U1", "U2", "U3", "U4"])
        starts = {"U1": 82.3, "U2": 84.6, "U3": 79.5, "U4": None}
        made.night("ferry 12", "as-found", {s: Measurement(c) for s, c in starts.items()})
        yield made


def file_of(shop: MeasuredShop) -> Path:
    return shop.shop.folder / "workshop.toml"


def test_a_batch_is_advised_unit_by_unit(call: Call, shop: MeasuredShop) -> None:
    said = call("rework", "ferry 12", "--shop", file_of(shop), "--json")
    assert (said.status, said.err) == (0, "")
    units = {unit["serial"]: unit for unit in json.loads(said.out)["units"]}
    assert units["U1"]["action"] == "leave"
    assert units["U2"]["to_do"]["mass_in_mg"] > 0
    assert units["U3"]["to_do"]["mass_out_mg"] > 0
    assert units["U4"]["refusal"] == "no start-to-open to go by: never opened"
    told = units["U2"]["forecast"]["at_target_c"]
    assert told["low"] < told["mean"] < min(told["high"], units["U2"]["now_c"]["mean"])


def test_the_text_tells_act_prediction_chance_and_the_cautions(
    call: Call, shop: MeasuredShop, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "160")
    said = call("rework", "U2", "--shop", file_of(shop))
    assert said.status == 0
    assert "U2: open it, " in said.out
    assert "mg of clean wax in" in said.out
    assert "measure again; expected 0.1 mm at " in said.out
    assert "%" in said.out
    assert "  then 0.1 mm at " in said.out
    assert "hot wax and oil burn" in said.out
    left = call("rework", "U1", "--shop", file_of(shop))
    assert "U1: leave it: 0.1 mm at 82.3 °C lies inside" in left.out
    assert "burn" not in left.out


def test_larger_changes_announce_their_rounds(
    call: Call, shop: MeasuredShop, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "160")
    shop.units(["U5"])
    shop.batch("far", ["U5"])
    shop.night("far", "as-found", {"U5": Measurement(88.0, 9.0)})
    said = call("rework", "far", "--shop", file_of(shop))
    assert "the rest after measuring" in said.out
    assert "foreseen rounds, each advised anew after measuring: " in said.out


def test_efforts_of_the_workshops_file_decide(call: Call, shop: MeasuredShop) -> None:
    path = file_of(shop)
    path.write_text(path.read_text() + "\n[effort]\nopening_min = 900\n")
    said = json.loads(call("rework", "U2", "--shop", path, "--json").out)["units"][0]
    assert said["cause"] == "price"
    assert said["figure"] > 900
    assert "a unit that is not delivered counts 480" in said["next_act"]


def test_what_is_not_there_or_sealed_is_refused_in_one_line(call: Call, shop: MeasuredShop) -> None:
    said = call("rework", "ferry 13", "--shop", file_of(shop))
    assert (said.status, said.out) == (2, "")
    assert said.err.count("\n") == 1
    shop.retype(Sealed())
    shop.units(["U6"])
    shop.batch("sealed", ["U6"])
    said = call("rework", "sealed", "--shop", file_of(shop))
    assert said.status == 2
    assert "is sealed: measure only" in said.err


def test_statistics_of_a_batch(call: Call, shop: MeasuredShop) -> None:
    said = call("statistics", "batch", "ferry 12", "--shop", file_of(shop), "--json")
    first = json.loads(said.out)["limits"][0]
    assert first["as_found"]["units"] == 3
    assert first["as_found"]["range"] == pytest.approx(84.6 - 79.5)
    assert first["as_left"] is None
    text = call("statistics", "batch", "ferry 12", "--shop", file_of(shop))
    assert "as found" in text.out
    assert "82.133" in text.out  # (82.3 + 84.6 + 79.5) / 3


def test_statistics_of_a_type_say_what_is_missing(call: Call, shop: MeasuredShop) -> None:
    for serial in ("U2", "U3"):
        shop.rework("ferry 12", serial, 4.0)
    shop.night("ferry 12", "as-left", {"U2": Measurement(82.2), "U3": Measurement(82.0)})
    said = call("statistics", "type", "Teal-82", "--shop", file_of(shop))
    assert "no capability: 2 as-left units of the type; 30 are needed" in said.out
    assert "station: two groups of two units at least are needed" in said.out
    assert "nothing to compare: bench, loader, supplier lot" in said.out
    shown = json.loads(call("statistics", "type", "Teal-82", "--shop", file_of(shop), "--json").out)
    assert shown["limits"][0]["units"] == 2
    types = call("statistics", "types", "--shop", file_of(shop))
    assert "Teal-82: 2 units" in types.out
