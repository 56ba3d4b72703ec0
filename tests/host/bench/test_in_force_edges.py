"""Calibrations in force: order of dates, other benches and stations, and what each one states."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from pathlib import Path

import pytest

from host.bench.nights import bench_file
from host.bench.shop_night import BUDGET, ShopNight, shop_night
from host.bench.test_in_force import blank, check, element, gauge, probes, raw
from proofbath.bench.calibration import ProbeCalibration
from proofbath.bench.calibration_content import ProbeContent, ProbePoint
from proofbath.bench.calibration_fit import fit_probes
from proofbath.bench.calibration_record import Content, calibration_entry
from proofbath.bench.in_force import (
    Shelf,
    bench_in_force,
    blocking_reasons,
    calibration_in_force,
    drift_k,
)
from proofbath.store.kinds import Handling

BENCH = bench_file()
DAY = dt.date(2025, 10, 1)


@pytest.fixture
def night(tmp_path: Path) -> Iterator[ShopNight]:
    made = shop_night(tmp_path / "shop.db")
    yield made
    made.records.close()
    made.journal.close()


def put(night: ShopNight, content: Content, later_days: int = 0, station: int = 0) -> int:
    done = DAY + dt.timedelta(days=later_days)
    return night.records.add(calibration_entry(content, "quay", done, 12, station), night.stamp)


def reasons(night: ShopNight, later_days: int = 0, powered: bool = False) -> list[str]:
    on = DAY + dt.timedelta(days=later_days)
    return blocking_reasons(night.records, BENCH, on, (1,), powered)


def complete(night: ShopNight) -> None:
    put(night, probes(0.02))
    put(night, gauge(0.0049), station=1)
    put(night, blank(), station=1)


def test_the_day_of_the_work_counts_and_not_the_order_of_writing(night: ShopNight) -> None:
    newer = put(night, probes(0.11), 5)
    put(night, probes(0.05), 2)
    found = calibration_in_force(night.records, BENCH, DAY + dt.timedelta(days=9))
    assert found.ids == (newer,)
    assert found.calibration.bath.offset_k == pytest.approx(0.11)
    put(night, check(0.14), 8)
    put(night, check(0.01), 7)
    shelf = Shelf(night.records, "quay", DAY.replace(day=9))
    assert [kept.entry.done.day for kept in shelf.checks()] == [3, 6, 8, 9]
    assert any("+0.140 K off" in why for why in reasons(night, 9))


@pytest.mark.parametrize("station", [1, 6])
def test_first_and_last_station_have_their_own(night: ShopNight, station: int) -> None:
    put(night, gauge(0.00495), station=station)
    put(night, element(), station=station)
    put(night, blank(), station=station)
    found = calibration_in_force(night.records, BENCH, DAY)
    before = BENCH.calibration.station
    for n, (now, was) in enumerate(zip(found.calibration.station, before, strict=True), 1):
        if n == station:
            assert now.mm_per_code == pytest.approx(0.00495)
            assert now.lead_ohm == pytest.approx(0.25)
        else:
            assert now == was
    curve = found.blanks[station]
    assert list(found.blanks) == [station]
    assert list(curve.rising_c) == list(curve.falling_c) == [40.0, 100.0]
    assert list(curve.rising_mm) == list(curve.falling_mm) == [0.0, 0.03]


def test_each_probe_has_its_own_calibration(night: ShopNight) -> None:
    bath, guard = ProbeCalibration(offset_k=0.05), ProbeCalibration(offset_k=-0.08)
    points = [
        ProbePoint(
            kind="ice" if c == 0 else "steam", reference_c=c, u_k=0.03,
            bath=raw(bath.code_sum(c)), guard=raw(guard.code_sum(c)),
        )
        for c in (0.0, 99.6)
    ]  # fmt: skip
    put(night, fit_probes(points, bath, guard))
    found = calibration_in_force(night.records, BENCH, DAY).calibration
    assert found.bath.temperature_c(bath.code_sum(60.0)) == pytest.approx(60.0, abs=0.002)
    assert found.guard.temperature_c(guard.code_sum(60.0)) == pytest.approx(60.0, abs=0.002)


def test_the_budget_takes_what_each_calibration_states_and_keeps_the_rest(
    night: ShopNight,
) -> None:
    bench = BENCH.model_copy(update={"budget": BUDGET})
    assert bench_in_force(night.records, bench, DAY).budget == BUDGET
    probe, one, other, channel = probes(0.02), gauge(0.0049), gauge(0.0051), element()
    worse = other.model_copy(update={"u_mm": 0.009, "u_relative": 0.007})
    put(night, probe)
    put(night, one, station=1)
    put(night, worse, station=2)
    put(night, channel, station=4)
    found = bench_in_force(night.records, bench, DAY).budget
    assert found == BUDGET.model_copy(
        update={
            "probe_k": probe.bath.u_k,
            "probe_dof": probe.bath.degrees_of_freedom,
            "gauge_mm": 0.009,
            "gauge_relative": 0.007,
            "power_relative": channel.power_u_relative,
        }
    )
    assert channel.power_u_relative > 0


def test_what_was_touched_on_another_bench_ends_nothing(night: ShopNight) -> None:
    complete(night)
    day = DAY + dt.timedelta(days=3)
    for bench, blocked in (("other", 0), ("quay", 1)):
        touched = Handling(bench=bench, what="probe", date=day, text="exchanged")
        night.records.add(touched, night.stamp)
        assert len(reasons(night, 3)) == blocked


def test_elements_that_are_not_fed_need_no_calibration(night: ShopNight) -> None:
    complete(night)
    assert blocking_reasons(night.records, BENCH, DAY, (1,)) == []
    assert reasons(night, powered=True) == [
        "element of station 1: no calibration on record; calibrate element"
    ]


def as_found(bath_k: float | None, guard_k: float | None) -> ProbeContent:
    content = probes(0.02)
    return content.model_copy(
        update={
            "bath": content.bath.model_copy(update={"as_found_k": bath_k}),
            "guard": content.guard.model_copy(update={"as_found_k": guard_k}),
        }
    )


@pytest.mark.parametrize(
    ("content", "off_k"),
    [
        (as_found(0.03, -0.2), -0.2),
        (as_found(None, 0.04), 0.04),
        (as_found(None, None), None),
        (check(-0.12), -0.12),
        (check(0.005), 0.01),
        (gauge(0.0049), None),
    ],
)
def test_a_probes_error_is_the_worse_ones_as_found(
    night: ShopNight, content: Content, off_k: float | None
) -> None:
    """The check's guard probe is 0.01 K off."""
    station = 1 if off_k is None and not isinstance(content, ProbeContent) else 0
    put(night, content, station=station)
    (kept,) = Shelf(night.records, "quay", DAY).all
    assert drift_k(kept) == off_k


@pytest.mark.parametrize(("off_k", "blocks"), [(0.1, False), (0.1001, True), (-0.1001, True)])
def test_a_tenth_of_a_kelvin_at_the_ice_point_is_the_most(
    night: ShopNight, off_k: float, blocks: bool
) -> None:
    """0.1 K: common practice, no source."""
    complete(night)
    put(night, check(off_k), 1)
    assert bool(reasons(night, 1)) is blocks
