"""The verb study: plans written, runs evaluated, figures shown."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from host.cli.conftest import Call
from host.workshop.measured_shop import BENCH, MeasuredShop, Measurement, measured_shop
from proofbath.files import read_toml
from proofbath.run.plan import NightPlan
from proofbath.scenario.workshop import CERTIFIER
from proofbath.store.kinds import BenchStudy

SIX = [f"S{n}" for n in range(1, 7)]


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[MeasuredShop]:
    with measured_shop(tmp_path) as made:
        made.units(SIX)
        yield made


def options(shop: MeasuredShop) -> list[object]:
    return ["--shop", shop.shop.folder / "workshop.toml"]


def test_plans_are_run_and_evaluated(call: Call, shop: MeasuredShop, tmp_path: Path) -> None:
    said = call("study", "plan", "spring", *SIX, "--out", tmp_path / "s", *options(shop), "--json")
    assert said.status == 0
    paths = [Path(path) for path in json.loads(said.out)["plans"]]
    assert len(paths) == 6
    rng = np.random.default_rng(2)
    for path in paths:
        plan = read_toml(path, NightPlan)
        drawn = {p.serial: 82 + int(p.serial[1]) / 10 + rng.normal(0, 0.1, 3) for p in plan.station}
        shop.night(
            "spring", "trial", {s: Measurement(82.0, cycles_c=(*c,)) for s, c in drawn.items()}
        )
    asked = ("study", "evaluate", "spring", "--bench", BENCH, "--by", CERTIFIER, *options(shop))
    dry = json.loads(call(*asked, "--dry", "--json").out)
    assert [one["name"] for one in dry["components"]] == [
        "unit",
        "station",
        "night",
        "reload",
        "repeatability",
    ]
    assert dry["for_budget"]["repeatability_dof"] == 72  # 36 loadings of three cycles
    assert shop.records.current(BenchStudy) == []
    assert "change between nights" in call(*asked).out
    assert len(shop.records.current(BenchStudy)) == 1
    shown = call("study", "show", BENCH, *options(shop), "--json")
    assert json.loads(shown.out)["for_budget"] == dry["for_budget"]


def test_the_short_form_is_three_nights(call: Call, shop: MeasuredShop, tmp_path: Path) -> None:
    said = call("study", "plan", "brief", *SIX, "--short", "--out", tmp_path / "s", *options(shop))
    assert said.status == 0
    assert len([*(tmp_path / "s").iterdir()]) == 3
    assert "brief-3.toml" in said.out


def test_what_cannot_be_is_refused_in_one_line(call: Call, shop: MeasuredShop) -> None:
    asked = ("study", "evaluate", "spring", "--bench", BENCH, "--by", CERTIFIER, *options(shop))
    said = call(*asked)
    assert (said.status, said.out) == (2, "")
    assert said.err.count("\n") == 1
    assert "no study on record" in call("study", "show", BENCH, *options(shop)).out
