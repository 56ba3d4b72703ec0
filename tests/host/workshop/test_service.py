"""Engine logs with their units: kept, compared with the bench, learnt from, used for a target."""

from __future__ import annotations

import datetime as dt
import json
import math
import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from host.proof.test_service import csv_of, drive
from host.workshop.measured_shop import NIGHT_K, REPEAT_K, MeasuredShop, Measurement, measured_shop
from proofbath.errors import InputError
from proofbath.proof.cautions import RETARGETING
from proofbath.proof.engine_log import EngineLog
from proofbath.proof.engine_offset import Seen, usual_offset
from proofbath.store.kinds import ServiceLog
from proofbath.workshop.service import (
    KeptLog,
    add_log,
    choose_target,
    type_offset,
    u_of,
    unit_service,
)

LAG_K = 0.06


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[MeasuredShop]:
    with measured_shop(tmp_path) as made:
        made.units(["U1", "U2"])
        made.batch("A", ["U1", "U2"])
        made.night("A", "as-found", {"U1": Measurement(82.0), "U2": Measurement(81.0)})
        yield made


def log_text(level_c: float = 87.0, seed: int = 1) -> str:
    log = drive(seed, hours=1.0)
    return csv_of(EngineLog(log.t_s, log.coolant_c + level_c - 87.0))


def add(
    shop: MeasuredShop,
    serial: str = "U1",
    level_c: float = 87.0,
    seed: int = 1,
    fitted: dt.date | None = None,
) -> KeptLog:
    shop.pass_days()
    text, day = log_text(level_c, seed), fitted or shop.day
    return add_log(
        shop.shop,
        serial,
        text,
        name="drive.csv",
        fitted=day,
        engine="Kittiwake, port",
        stamp=shop.now,
    )


def test_a_log_is_kept_with_its_unit_and_what_it_says(shop: MeasuredShop) -> None:
    found = add(shop)
    (kept,) = shop.records.current(ServiceLog)
    assert kept.entry.engine == "Kittiwake, port"
    assert kept.entry.content["findings"] == json.loads(json.dumps(found.findings))
    assert kept.entry.content["samples"] == len(kept.entry.content["t_s"]) == 3600
    shown = unit_service(shop.records, "U1")
    assert shown.bench_c == 82.0
    assert shown.offset_k == pytest.approx(5.0, abs=0.2)
    assert shown.drift is None


def test_the_same_log_is_not_kept_twice(shop: MeasuredShop) -> None:
    add(shop)
    with pytest.raises(InputError, match="on record already"):
        add(shop)


def test_days_must_follow_each_other(shop: MeasuredShop) -> None:
    with pytest.raises(InputError, match="give them in order"):
        add_log(
            shop.shop,
            "U1",
            log_text(),
            name="drive.csv",
            fitted=shop.day + dt.timedelta(days=1),
            engine="Kittiwake",
            stamp=shop.now,
        )
    with pytest.raises(InputError, match="engine"):
        add_log(
            shop.shop,
            "U1",
            log_text(),
            name="drive.csv",
            fitted=shop.day,
            engine=" ",
            stamp=shop.now,
        )
    assert shop.records.current(ServiceLog) == []


def test_a_unit_that_falls_from_log_to_log_is_failing(shop: MeasuredShop) -> None:
    fitted = shop.day
    for number, level_c in enumerate((87.0, 85.0, 83.0)):
        add(shop, level_c=level_c, seed=number, fitted=fitted)
        shop.pass_days(180)
    found = unit_service(shop.records, "U1")
    assert found.drift is not None
    assert found.drift.k_per_year == pytest.approx(-4.0 * 365.25 / 362, rel=0.05)
    assert "failing unit" in found.remarks()[0]
    assert found.offset_k == pytest.approx(5.0, abs=0.2)  # of the first log


def test_a_new_fitting_begins_anew(shop: MeasuredShop) -> None:
    add(shop, level_c=87.0)
    shop.pass_days(100)
    shop.night("A", "as-found", {"U1": Measurement(84.0)})
    add(shop, level_c=90.0, seed=2)
    found = unit_service(shop.records, "U1")
    assert len(found.logs) == 2
    assert found.bench_c == 84.0
    assert found.offset_k == pytest.approx(6.0, abs=0.2)
    assert found.drift is None


def test_the_offset_of_the_type_is_learnt_from_its_units(shop: MeasuredShop) -> None:
    """The same two offsets given to the estimate by hand; the shared probe is in neither."""
    one, two = add(shop, "U1", 87.0), add(shop, "U2", 87.5, 2)
    bench_u = math.sqrt(NIGHT_K**2 + REPEAT_K**2 + LAG_K**2)
    by_hand = usual_offset(
        [
            Seen(one.findings["regulated_c"] - 82.0, math.hypot(u_of(one), bench_u)),
            Seen(two.findings["regulated_c"] - 81.0, math.hypot(u_of(two), bench_u)),
        ]
    )
    found = type_offset(shop.records, "Teal-82")
    assert {*found.seen} == {"U1", "U2"}
    assert found.offset == pytest.approx(by_hand)


def test_a_target_is_chosen_for_a_wanted_temperature(shop: MeasuredShop) -> None:
    before = choose_target(shop.shop, "Teal-82", 86.0)
    assert "guess from memory" in before.remarks[0]
    for n in range(2):
        add(shop, "U1", 87.0 + 0.1 * n, n)
    add(shop, "U2", 86.0, 5)
    after = choose_target(shop.shop, "Teal-82", 87.0)
    assert after.remarks == ()
    assert after.target.bench_c == pytest.approx(87.0 - after.offset.offset.mean_k)
    assert 81.5 < after.target.bench_c < 83.5  # offsets of 5 K, drawn a little to the prior's 3 K
    assert after.target.expanded_u_k < before.target.expanded_u_k


def test_a_target_outside_the_types_limits_is_pointed_out(shop: MeasuredShop) -> None:
    assert "put a type of its own on record" in choose_target(shop.shop, "Teal-82", 95.0).remarks[1]


@pytest.mark.parametrize(
    ("wanted_c", "cap_kpa", "says"),
    [
        (39.9, 0.0, "at least 40 °C is regulated"),
        (math.nan, 0.0, "is no temperature"),
        (105.1, 100.0, "Teal-82 stands 105 °C at most"),
        (math.inf, 200.0, "is no temperature"),
        (97.5, 0.0, "water in an open system under 101.3 kPa of air boils at 99.97 °C"),
        (97.5, -1.0, "pressure cap -1 kPa: 0 (an open system) to 200 kPa"),
    ],
)
def test_a_target_that_boils_or_overheats_is_refused(
    shop: MeasuredShop, wanted_c: float, cap_kpa: float, says: str
) -> None:
    with pytest.raises(InputError, match=re.escape(says)):
        choose_target(shop.shop, "Teal-82", wanted_c, cap_kpa)


def test_a_stated_pressure_cap_lets_an_engine_run_hotter_up_to_the_types_cap(
    shop: MeasuredShop,
) -> None:
    assert choose_target(shop.shop, "Teal-82", 40.0).wanted_c == 40.0
    found = choose_target(shop.shop, "Teal-82", 105.0, 90.0)
    assert found.cooling.air_kpa == pytest.approx(101.325)  # ISO 2533 at sea level
    assert found.caution == RETARGETING


def test_the_air_pressure_is_that_of_the_workshops_benches(shop: MeasuredShop) -> None:
    """At 2000 m water boils at 93.3 °C (ISO 2533, IAPWS-IF97), 3 K less are 90.3 °C."""
    (path,) = shop.shop.bench_files().values()
    path.write_text(path.read_text().replace("[bench]\n", "[bench]\naltitude_m = 2000\n", 1))
    assert choose_target(shop.shop, "Teal-82", 90.2).cooling.boiling_c() == pytest.approx(
        93.3, abs=0.1
    )
    with pytest.raises(InputError, match=r"the limit is 90\.32 °C"):
        choose_target(shop.shop, "Teal-82", 90.5)


def test_a_day_of_high_pressure_gives_the_engine_none(shop: MeasuredShop) -> None:
    """The standard air's 99.97 °C less 3 K, not the 100.7 °C of 104 kPa (IAPWS-IF97)."""
    (path,) = shop.shop.bench_files().values()
    path.write_text(
        path.read_text().replace("[bench]\n", "[bench]\nstation_pressure_kpa = 104.0\n", 1)
    )
    with pytest.raises(InputError, match=r"the limit is 96\.97 °C"):
        choose_target(shop.shop, "Teal-82", 97.6)


def test_a_long_log_is_thinned_for_the_record_only(shop: MeasuredShop) -> None:
    rng = np.random.default_rng(3)
    t_s = np.arange(0.0, 7200.0, 0.2)
    text = csv_of(EngineLog(t_s, 87.0 + 0.3 * rng.standard_normal(len(t_s))))
    add_log(
        shop.shop, "U1", text, name="long.csv", fitted=shop.day, engine="Kittiwake", stamp=shop.now
    )
    (kept,) = shop.records.current(ServiceLog)
    assert kept.entry.content["samples"] == 36_000
    assert len(kept.entry.content["t_s"]) == 18_000
