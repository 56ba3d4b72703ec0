"""The command line as a person meets it: help, one-line errors, exit status, JSON."""

from __future__ import annotations

import json
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest

from host.cli.conftest import Call
from proofbath.cli import VERBS
from proofbath.files import read_toml
from proofbath.run.plan import NightPlan
from proofbath.workshop.intake import TypeFile
from proofbath.workshop.shop import open_shop

FIELDS = {
    "value",
    "standard_uncertainty",
    "expanded_uncertainty",
    "coverage_factor",
    "degrees_of_freedom",
    "budget",
    "reason",
    "rate",
}
QUANTITIES = {
    "start_to_open_c",
    "full_open_c",
    "full_lift_mm",
    "closing_c",
    "hysteresis_k",
    "zero_return_mm",
    "lag_s",
    "unpowered_start_to_open_c",
    "shift_k_per_w",
}


@pytest.fixture(scope="session")
def curve_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A unit of straight curve, 0.5 mm/K from 82 °C on, at 1 K/min up and down, without lag."""
    t_s = np.arange(0.0, 2 * 27 * 60, 1.0)
    bath_c = 97.0 - np.abs(t_s - t_s[-1] / 2) / 60
    lift_mm = 0.3 + 0.5 * np.clip(bath_c - 82.0, 0.0, None)
    path = tmp_path_factory.mktemp("curve") / "unit.csv"
    rows = "".join(
        f"{t:.1f},{b:.4f},{x:.5f}\n" for t, b, x in zip(t_s, bath_c, lift_mm, strict=True)
    )
    path.write_text("t_s,bath_c,lift_mm\n" + rows)
    return path


@pytest.mark.parametrize("verb", sorted(VERBS))
def test_every_verb_has_help(call: Call, verb: str) -> None:
    said = call(verb, "--help")
    assert said.status == 0
    assert f"Usage: proofbath {verb}" in said.out


def test_the_list_of_verbs_says_what_each_does(call: Call) -> None:
    said = call("--help")
    words = " ".join(said.out.split())
    assert all(text in words for text in VERBS.values())


def test_curve_prints_the_fixed_shape(call: Call, curve_file: Path) -> None:
    said = call("curve", curve_file, "--json", "--rated-lift-mm", "5")
    found = json.loads(said.out)
    assert said.status == 0
    assert found.keys() >= QUANTITIES | {"warnings", "cycles"}
    assert all(found[name].keys() >= FIELDS for name in QUANTITIES)
    assert any(w["code"] == "no_bench_budget" and w["text"] for w in found["warnings"])


def test_curve_finds_the_crossing_of_a_straight_curve(call: Call, curve_file: Path) -> None:
    """Closed form: 0.1 mm at 0.5 mm/K lies 0.2 K above the knee at 82 °C."""
    found = json.loads(call("curve", curve_file, "--json").out)
    cycle = found["cycles"][0]
    assert cycle["start_to_open_c"] == pytest.approx(82.2, abs=0.02)
    assert cycle["closing_c"] == pytest.approx(82.2, abs=0.02)


def test_what_is_not_in_a_record_is_null_with_a_reason(call: Call, curve_file: Path) -> None:
    found = json.loads(call("curve", curve_file, "--json").out)
    for name in ("full_open_c", "unpowered_start_to_open_c", "shift_k_per_w"):
        assert found[name]["value"] is None
        assert found[name]["reason"]


def test_curve_writes_a_picture(call: Call, curve_file: Path, tmp_path: Path) -> None:
    for name, head in (("curve.svg", b"<?xml"), ("curve.png", b"\x89PNG")):
        assert call("curve", curve_file, "--picture", tmp_path / name).status == 0
        assert (tmp_path / name).read_bytes().startswith(head)


HEADER = "t_s,bath_c,lift_mm\n"
ROWS = "".join(f"{n},{70 + n / 10},{0.3}\n" for n in range(40))
BAD_CURVES = {
    "empty": (b"", "empty"),
    "binary": (bytes(range(256)) * 20, "not UTF-8"),
    "null bytes": (b"t_s\x00" * 90, "binary"),
    "wrong columns": (b"time,temperature,lift\n0,1,2\n", "no column t_s, bath_c, lift_mm"),
    "header only": (HEADER.encode(), "too short"),
    "words": (
        (HEADER + ROWS + "40,warm,0.3\n").encode(),
        "line 42: bath_c is not a number: 'warm'",
    ),
    "time goes back": ((HEADER + ROWS + "3,74,0.3\n").encode(), "time goes back"),
    "decimal commas": ((HEADER + "0,0,70,1,0,3\n" * 40).encode(), "decimal commas"),
    "semicolons": (b"t_s;bath_c;lift_mm\n" + b"0;70;0.3\n" * 40, "semicolons"),
}


@pytest.mark.parametrize("case", BAD_CURVES)
def test_a_bad_curve_is_refused_in_one_line(call: Call, tmp_path: Path, case: str) -> None:
    data, words = BAD_CURVES[case]
    path = tmp_path / "bad.csv"
    path.write_bytes(data)
    said = call("curve", path, "--json")
    assert (said.status, said.out) == (2, "")
    assert words in said.err.splitlines()[0]
    assert all(str(path) in line for line in said.err.splitlines())


def test_a_missing_file_and_a_folder_are_refused(call: Call, tmp_path: Path) -> None:
    for path, words in ((tmp_path / "none.csv", "no such file"), (tmp_path, "is a folder")):
        said = call("curve", path)
        assert (said.status, said.out) == (2, "")
        assert said.err == f"{path}: {words}{'; name a file' if path == tmp_path else ''}\n"


def test_usage_errors_are_one_line_with_the_place_to_look(call: Call) -> None:
    said = call("curv")
    assert (said.status, said.err.count("\n")) == (2, 1)
    assert "did you mean curve?" in said.err
    said = call("curve", "x.csv", "--treshold-mm", "1")
    assert (said.status, said.err.count("\n")) == (2, 1)
    assert "See proofbath curve --help." in said.err


def test_truth_of_the_shipped_batch(call: Call) -> None:
    path = files("proofbath.virtual") / "examples/teal_82_batch.toml"
    units = json.loads(call("virtual", "truth", path, "--json").out)["units"]
    assert len(units) == 6
    for unit in units:
        assert unit["closing_c"] < unit["start_to_open_c"] < unit["full_open_c"]
        assert unit["start_to_open_frictionless_c"] < unit["start_to_open_c"]


def test_mistakes_in_a_bench_file_are_listed_one_line_each(call: Call, tmp_path: Path) -> None:
    good = (files("proofbath.virtual") / "examples/teal_82_batch.toml").read_text()
    path = tmp_path / "bench.toml"
    path.write_text(
        good.replace("fill_l = 8.0\n\n[coolant]", "fil_l = 8.0\n\n[coolant]").replace(
            "heater_w = 1500.0\ncooling", "heater_w = -1.0\ncooling"
        )
    )
    said = call("virtual", "truth", path, "--json")
    assert (said.status, said.out) == (2, "")
    assert said.err.splitlines() == [
        f"{path}: bench.fil_l: unknown key; did you mean 'fill_l'?",
        f"{path}: bath.heater_w: input should be greater than 0, given -1.0",
    ]


def test_the_demo_refuses_a_folder_it_cannot_make(call: Call, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    said = call("demo", "--out", tmp_path / "file")
    assert said.status == 2
    assert "cannot be written" in said.err


def test_the_examples_make_a_workshop(call: Call, tmp_path: Path) -> None:
    folder = tmp_path / "shop"
    assert call("virtual", "examples", folder).status == 0
    with open_shop(folder / "workshop.toml") as shop:
        assert [path.name for path in shop.bench_files().values()] == [
            "teal_82_batch.toml",
            "heron_103_batch.toml",
        ]
    for name in ("teal_82", "heron_103"):
        known = read_toml(folder / f"{name}_type.toml", TypeFile)
        assert read_toml(folder / f"{name}_plan.toml", NightPlan).unit_type == known.unit_type


def test_the_examples_are_written_once(call: Call, tmp_path: Path) -> None:
    assert call("virtual", "examples", tmp_path / "shop").status == 0
    assert call("virtual", "truth", tmp_path / "shop/heron_103_batch.toml").status == 0
    said = call("virtual", "examples", tmp_path / "shop")
    assert said.status == 2
    assert "already" in said.err
