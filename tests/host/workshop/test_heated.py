"""Heater-assisted units from calibration to certificate on the shipped virtual bench.

They open above what the bath may reach, so they are driven by their heaters and judged without
power; the reference unit beside them is a plain one. The true answers are the plant's closed forms.
"""

from __future__ import annotations

import datetime as dt
import json
from importlib.resources import files
from pathlib import Path

import pytest

from proofbath.bench.description import BenchFile
from proofbath.description import parse_toml
from proofbath.scenario.ferry import example_type
from proofbath.scenario.story import GOOD
from proofbath.scenario.workshop import (
    CERTIFIER,
    OPERATOR,
    REFERENCE,
    calibrate_all,
    calibrate_elements,
    set_up,
    staff_and_type,
)
from proofbath.store.kinds import Unit
from proofbath.virtual.truth import rising_c
from proofbath.workshop.contents import content_of
from proofbath.workshop.intake import add_unit, open_batch, put_type, take_in
from proofbath.workshop.judging import judge_batch
from proofbath.workshop.nights import certify_blocks, shop_night
from proofbath.workshop.papers import certify
from proofbath.workshop.planning import plan_night
from proofbath.workshop.shop import open_shop
from proofbath.workshop.unit_view import start_in, values_in

AT, ON = "2025-10-01T09:00:00+00:00", dt.date(2025, 10, 1)
BATCH, NAME = "ferry 12", "Ferry workshop, bench for heated types"
FORM = "unpowered_start_to_open_c"


def example_bench() -> BenchFile:
    """Return the shipped bench, by a name short enough for a socket in a test's folder."""
    text = (files("proofbath.virtual") / "examples" / "heron_103_batch.toml").read_text("utf-8")
    return parse_toml(text.replace(NAME, "quay"), BenchFile, "heron_103_batch.toml")


def test_heated_units_are_measured_judged_and_certified_without_power(tmp_path: Path) -> None:
    bench = example_bench()
    assert bench.virtual is not None
    units = [unit for unit in bench.virtual.unit if unit.serial != REFERENCE]
    with open_shop(set_up(tmp_path, bench)) as shop:
        stamp = staff_and_type(shop, AT)
        put_type(shop, example_type("heron_103_type.toml"), stamp)
        calibrate_all(shop, bench, stamp, tmp_path)
        open_batch(
            shop,
            BATCH,
            "River Ferry Ltd",
            address=["Pier 2"],
            contact="",
            received=ON,
            type_name="Heron-103",
            stamp=stamp,
        )
        for unit in units:
            add_unit(shop, Unit(serial=unit.serial, unit_type="Heron-103"), stamp)
            take_in(
                shop,
                BATCH,
                unit.serial,
                cause="rework",
                findings=GOOD,
                accepted=True,
                remark="gets a new seal",
                stamp=stamp,
            )
        alone = plan_night(shop, BATCH, "as-found", bench.bench.name, serials=["H103-0215"])
        assert [place.station for place in alone.station] == [4, 6], "as the bench's file hangs it"
        plan = plan_night(shop, BATCH, "as-found", bench.bench.name)
        missing = certify_blocks(shop, plan, bench, ON)
        assert [line.split(":")[0] for line in missing] == [
            f"element of station {unit.station}" for unit in units
        ]
        calibrate_elements(shop, bench, stamp)
        assert certify_blocks(shop, plan, bench, ON) == []
        done = shop_night(shop, plan, bench.bench.name, OPERATOR, AT, clear=True, folder=tmp_path)
        assert done.outcome.status == "done"
        judged = judge_batch(shop, BATCH, ON)
        for unit, one in zip(units, judged, strict=True):
            assert one.result is not None
            values = values_in(content_of(one.result))
            assert start_in(values) is not None
            start = next(value for value in values if value.name == FORM)
            # k = 2 covers 95 of 100; three standard uncertainties all of five units but for luck.
            assert start.value == pytest.approx(
                rising_c(unit, 0.1), abs=1.5 * (start.expanded_uncertainty or 0.0)
            )
        issued = {one.serial: one for one in certify(shop, BATCH, shop.stamp(CERTIFIER, AT))}
    assert [serial for serial, one in issued.items() if one.number is None] == ["H103-0215"]
    pdf = issued["H103-0207"].pdf
    assert pdf is not None
    told = json.loads(pdf.with_suffix(".json").read_text())
    assert "Element channel, station 1" in json.dumps(told)
