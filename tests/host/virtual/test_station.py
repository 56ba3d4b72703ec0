"""Gauge and element channel of a station against hand calculation."""

from __future__ import annotations

from typing import Any

import pytest

from proofbath.virtual.description import VirtualSection
from proofbath.virtual.plant import Drive, Signals, VirtualPlant

HEATING = Drive(contactor=True, heater=True)
QUIET = {"gauge_noise_mm": 0, "current_noise_a": 0, "voltage_noise_v": 0}


def plant(start_c: float, station: dict[str, Any], *units: dict[str, Any]) -> VirtualPlant:
    return VirtualPlant(
        VirtualSection.model_validate(
            {
                "bath": {"start_c": start_c, "mixing_k": 0},
                "station": [{"station": 2, **QUIET, **station}],
                "unit": [{"serial": "T82-2", "station": 2, **u} for u in units],
            }
        )
    )


def gauge_mm(signals: Signals) -> float:
    return signals.gauge_ratio[1] * 20.0


@pytest.mark.parametrize(("blank", "shown_mm"), [(True, 0.4 + 0.002 * 60.0), (False, 0.4)])
def test_bar_shows_the_fixture_and_an_empty_station_nothing(blank: bool, shown_mm: float) -> None:
    station = {"gauge_zero_mm": 0.4, "expansion_mm_per_k": 0.002, "blank": blank}
    signals = plant(80.0, station).advance(0.025, Drive())
    assert gauge_mm(signals) == pytest.approx(shown_mm, abs=1e-4)


def test_unit_adds_its_lift_by_the_gauge_factor() -> None:
    bench = plant(92.0, {"gauge_gain": 1.02, "expansion_mm_per_k": 0.001}, {})
    signals = bench.advance(0.025, Drive())
    expected_mm = 0.5 + 1.02 * (bench.get("unit.2.lift_mm") + 0.001 * 72.0)
    assert bench.get("unit.2.lift_mm") > 5.0
    assert gauge_mm(signals) == pytest.approx(expected_mm, abs=1e-4)


@pytest.mark.parametrize(
    ("drive", "lag_s"), [(HEATING, 40.0), (Drive(cooling=True), 90.0)], ids=["rising", "falling"]
)
def test_expansion_follows_late_in_both_directions(drive: Drive, lag_s: float) -> None:
    """On a steady ramp a first-order lag stays behind by rate times time constant."""
    lags = {"expansion_rising_lag_s": 40.0, "expansion_falling_lag_s": 90.0}
    bench = plant(60.0, {"blank": True, "expansion_mm_per_k": 0.01, "gauge_zero_mm": 1.0, **lags})
    bench.advance(600.0, drive)
    before_c = bench.get("bath.temperature_c")
    signals = bench.advance(10.0, drive)
    now_c = bench.get("bath.temperature_c")
    late_k = now_c - (20.0 + (gauge_mm(signals) - 1.0) / 0.01)
    assert late_k == pytest.approx((now_c - before_c) / 10.0 * lag_s, rel=0.05)


def test_current_is_the_set_point_by_its_gains() -> None:
    """0.8 A asked; source 1 % high, reading 2 % low; voltage over 15 ohm and 0.3 ohm of lead."""
    station = {"source_gain": 1.01, "current_gain": 0.98, "lead_ohm": 0.3, "voltage_gain": 1.02}
    bench = plant(20.0, station, {"heater_per_k": 0})
    codes = (0, 1600, 0, 0, 0, 0)
    signals = bench.advance(0.1, Drive(element_feed=True, element_code=codes))
    assert signals.current_ratio[1] * 2.0475 == pytest.approx(0.808 * 0.98, abs=1e-6)
    assert signals.voltage_ratio[1] * 20.475 == pytest.approx(0.808 * 15.3 * 1.02, abs=1e-5)
    assert bench.get("station.2.element_w") == pytest.approx(0.808**2 * 15.0)


def test_supply_limits_the_current() -> None:
    bench = plant(20.0, {"supply_v": 6.12, "lead_ohm": 0.3}, {"heater_per_k": 0})
    bench.advance(0.1, Drive(element_feed=True, element_code=(1600,) * 6))
    assert bench.get("station.2.element_a") == pytest.approx(6.12 / 15.3)


@pytest.mark.parametrize(
    "drive",
    [
        Drive(element_feed=False, element_code=(1600,) * 6),
        Drive(element_feed=True, station_switch=(False,) * 6, element_code=(1600,) * 6),
    ],
    ids=["no feed", "station off"],
)
def test_feed_and_station_switch_both_cut_the_current(drive: Drive) -> None:
    bench = plant(20.0, {}, {})
    bench.advance(0.1, drive)
    assert bench.get("station.2.element_a") == 0.0


def test_unit_without_heater_takes_no_current() -> None:
    bench = plant(20.0, {}, {"heater_ohm": 0})
    signals = bench.advance(0.1, Drive(element_feed=True, element_code=(1600,) * 6))
    assert bench.get("station.2.element_a") < 1e-6
    assert signals.voltage_ratio[1] * 20.475 == pytest.approx(18.0)
