"""`unit` as a workshop meets it; what the nights found is the ferry shop's closed form."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
import tomlkit

from host.bench.hand_pot import COARSE_C, rise, straight
from host.cli.conftest import Call
from host.workshop.ferry_shop import (
    BATCH,
    CERTIFIER,
    OPERATOR,
    TEAL_82,
    FerryShop,
    ferry_shop,
)
from proofbath.cli import VERBS
from proofbath.curve.hand_record import header, reading_row
from proofbath.proof.cautions import RETARGETING
from proofbath.store.kinds import Unit
from proofbath.workshop.intake import TypeFile, add_unit

Arguments = tuple[object, ...]
BY = ("--by", CERTIFIER)


@pytest.fixture(autouse=True)
def verbs(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("unit", "batch", "record"):
        monkeypatch.setitem(VERBS, name, "A verb of the workshop.")


@pytest.fixture
def ferry(tmp_path: Path) -> Iterator[FerryShop]:
    with ferry_shop(tmp_path) as made:
        yield made


@pytest.fixture
def shop(tmp_path: Path, ferry: FerryShop) -> Arguments:
    return ("--shop", tmp_path / "workshop.toml")


def write_type(path: Path, type_file: TypeFile) -> Path:
    path.write_text(tomlkit.dumps(type_file.model_dump(mode="json", exclude_none=True)))
    return path


def test_a_unit_is_put_on_record_once(call: Call, shop: Arguments) -> None:
    add = (
        "unit",
        "add",
        "T82-0412",
        "--type",
        "Teal-82",
        "--mark",
        "port",
        "--lot",
        "L7",
        *BY,
        *shop,
    )
    said = call(*add)
    assert (said.status, said.out) == (0, "T82-0412: on record as a Teal-82\n")
    again = call(*add)
    assert (again.status, again.out) == (2, "")
    assert "on record already" in again.err
    listed = json.loads(call("unit", "list", "--type", "Teal-82", *shop, "--json").out)["units"]
    assert [(u["serial"], u["supplier_lot"]) for u in listed][-1] == ("T82-0412", "L7")
    shown = call("unit", "show", "T82-0412", *shop)
    assert "T82-0412, Teal-82, mark port, lot L7" in shown.out
    assert "nothing has happened to it yet" in shown.out


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("add", "F 1", "--type", "Teal-82", *BY), "serial: string should match pattern"),
        (("add", "W90-0101", "--type", "Wigeon-90", *BY), "type 'Wigeon-90': not on record"),
        (
            ("add", "W90-0101", "--type", "Teal-82", "--by", "Bo"),
            "first (proofbath records person)",
        ),
        (("show", "T82-9"), "no unit of serial 'T82-9'"),
        (("list", "--batch", "ferry 99"), "no batch of name 'ferry 99'"),
        (("reference", "T82-9", *BY), "no unit of serial 'T82-9'"),
        (("type", "nowhere.toml", *BY), "no such file"),
    ],
)
def test_a_refusal_is_one_line_and_status_2(
    call: Call, shop: Arguments, arguments: Arguments, words: str
) -> None:
    said = call("unit", *arguments, *shop)
    assert (said.status, said.out, said.err.count("\n")) == (2, "", 1)
    assert words in said.err


def test_a_changed_type_needs_a_higher_version(call: Call, shop: Arguments, tmp_path: Path) -> None:
    path = write_type(tmp_path / "teal_82.toml", TEAL_82)
    same = json.loads(call("unit", "type", path, *BY, *shop, "--json").out)
    assert (same["name"], same["version"]) == ("Teal-82", 1)
    rule = {"rule": "simple"}
    changed = TEAL_82.specification.model_copy(update=rule)
    write_type(path, TEAL_82.model_copy(update={"specification": changed}))
    refused = call("unit", "type", path, *BY, *shop)
    assert (refused.status, refused.out) == (2, "")
    assert "raise the version" in refused.err
    higher = changed.model_copy(update={"version": 2})
    write_type(path, TEAL_82.model_copy(update={"specification": higher}))
    said = call("unit", "type", path, *BY, *shop)
    assert said.status == 0
    assert said.out == f"type Teal-82: version 2 is on record\n{RETARGETING}\n"
    operator = call("unit", "type", path, "--by", OPERATOR, *shop)
    assert operator.status == 0, "nothing new: nothing is written"


def test_a_reference_unit_is_named_and_retired(call: Call, shop: Arguments) -> None:
    call("unit", "add", "T82-R2", "--type", "Teal-82", *BY, *shop)
    options = ("--since", "2025-10-02", "--text", "sealed", *BY, *shop)
    said = call("unit", "reference", "T82-R2", *options)
    assert (said.status, said.out) == (0, "T82-R2: reference unit since 2025-10-02\n")
    assert call("unit", "reference", "T82-R2", "--retire", *BY, *shop).status == 0
    told = json.loads(call("unit", "show", "T82-R2", *shop, "--json").out)
    assert [said["in_use"] for said in told["reference"]] == [True, False]


def test_a_history_tells_it_all_in_order(
    call: Call, ferry: FerryShop, shop: Arguments, tmp_path: Path
) -> None:
    """As found it opens at 84.5 °C, as left at 82.0; 0.1 mm is 0.2 K on. Then a pot.

    At 1 K/min the wax is 22 s, 0.37 K, behind; what is taken off is known to some seconds.
    """
    ferry.calibrate()
    ferry.batch(["T82-1"])
    ferry.night("as-found", {"T82-1": 84.5})
    ferry.rework("T82-1")
    ferry.night("as-left", {"T82-1": 82.0})
    ferry.pass_days(400)
    ferry.batch(["T82-1"], "ferry 30")
    pot = tmp_path / "pot.csv"
    pot.write_text(
        header(False) + "".join(reading_row(p, False) for p in rise(straight(82.0), COARSE_C))
    )
    kinds = ("--thermometer", "glass", "--lift-tool", "caliper", "--unit", "T82-1", *BY)
    assert call("record", "--from", pot, *kinds, *shop).status == 0

    told = json.loads(call("unit", "show", "T82-1", *shop, "--json").out)
    first, second = told["batches"]
    assert (first["batch"], second["batch"], second["steps"]) == (BATCH, "ferry 30", [])
    assert [step["stage"] for step in first["steps"]] == ["as-found", "rework", "as-left"]
    for step, opens_c in ((first["steps"][0], 84.5), (first["steps"][2], 82.0)):
        (start,) = [v for v in step["results"] if v["quantity"] == "start_to_open_c"]
        assert start["value"] == pytest.approx(opens_c + 0.1 / 0.5, abs=0.07)
        assert 0.1 < start["expanded_uncertainty"] < 1.0
    assert told["hand_measurements"][0]["start_to_open_c"]["value"] == pytest.approx(82.9, abs=0.3)

    shown = call("unit", "show", "T82-1", *shop).out
    order = [
        shown.index(words) for words in ("taken in: rework", "as-found", "4 mg of clean wax in")
    ]
    assert order == sorted(order)
    assert "never certified" in shown
    assert " ± " in shown


def test_a_list_can_be_of_one_batch(call: Call, ferry: FerryShop, shop: Arguments) -> None:
    add_unit(ferry.shop, Unit(serial="T82-9", unit_type="Teal-82"), ferry.stamp)
    ferry.batch(["T82-1", "T82-2"])
    told = json.loads(call("unit", "list", "--batch", BATCH, *shop, "--json").out)
    assert [unit["serial"] for unit in told["units"]] == ["T82-1", "T82-2"]
    assert {unit["batch"] for unit in told["units"]} == {BATCH}
    assert "T82-9" in call("unit", "list", *shop).out
