"""The plant's bath: rates, losses, boiling, delays and probes.

Rates and losses at 90 degC are an own computation from P = (m c + Cv) r + UA (T - Ta) +
evaporation, done apart from this code and rounded to 0.1 K/min; vessel, losses and surface of
each size are engineering memory, no source.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path
from typing import Any

import pytest
from iapws import IAPWS97

from proofbath.virtual.description import VirtualSection
from proofbath.virtual.plant import Drive, VirtualPlant

DATA = Path(__file__).parents[2] / "data"
HEATING = Drive(contactor=True, heater=True)
SIZES = {
    5: {"vessel_j_per_k": 200, "loss_w_per_k": 0.9, "surface_m2": 0.036},
    8: {"loss_w_per_k": 1.7, "surface_m2": 0.06},
    12: {"loss_w_per_k": 2.2, "surface_m2": 0.075},
    20: {"loss_w_per_k": 2.8, "surface_m2": 0.1},
}


def plant(**bath: Any) -> VirtualPlant:
    return VirtualPlant(VirtualSection.model_validate({"bath": {"glycol_percent": 0, **bath}}))


def rate_k_per_min(of: VirtualPlant, drive: Drive) -> float:
    """Rate after the delays, over one minute."""
    of.advance(60.0, drive)
    before_c = of.get("bath.temperature_c")
    of.advance(60.0, drive)
    return of.get("bath.temperature_c") - before_c


@pytest.mark.parametrize(
    ("fill_l", "heater_w", "rate"),
    [
        *((5, 1000, 2.5), (5, 1500, 3.9), (5, 2000, 5.3)),
        *((8, 1000, 1.4), (8, 1500, 2.3), (8, 2000, 3.2)),
        *((12, 1000, 0.9), (12, 1500, 1.5), (12, 2000, 2.1), (20, 2000, 1.2)),
    ],
)
def test_full_heat_at_90(fill_l: int, heater_w: float, rate: float) -> None:
    start_c = 90.0 - 1.5 * rate
    bath = plant(fill_l=fill_l, heater_w=heater_w, start_c=start_c, **SIZES[fill_l])
    assert rate_k_per_min(bath, HEATING) == pytest.approx(rate, abs=0.08)


@pytest.mark.parametrize("fill_l", SIZES)
def test_falls_slowly_with_the_lid_on(fill_l: int) -> None:
    """-0.3 to -0.55 K/min; the largest bath a little slower."""
    bath = plant(fill_l=fill_l, start_c=90.5, **SIZES[fill_l])
    assert -0.55 < rate_k_per_min(bath, Drive()) < -0.24


@pytest.mark.parametrize(("fill_l", "extra_w"), [(5, 200), (8, 350), (12, 560)])
def test_coil_that_gives_one_kelvin_a_minute(fill_l: int, extra_w: float) -> None:
    """Watts beyond the bath's own loss at 90 degC, rounded to some tens of watts."""
    coil = {"coil_w_per_k": extra_w / 75.0, "coil_c": 15.0}
    bath = plant(fill_l=fill_l, start_c=91.5, **coil, **SIZES[fill_l])
    assert rate_k_per_min(bath, Drive(cooling=True)) == pytest.approx(-1.0, abs=0.12)


def test_lid_keeps_nine_tenths_of_the_evaporation() -> None:
    """15 kW/m2 from open water at 90 degC (+- 40 %), a tenth under a lid: 90 W, 1.4 kg in 10 h."""
    closed, opened = (plant(start_c=90.0, heater_w=w, lid=lid) for w, lid in LIDS)
    lost_l = []
    for bath in (closed, opened):
        before_l = bath.get("bath.level_l")
        bath.advance(3600.0, HEATING)
        lost_l.append(before_l - bath.get("bath.level_l"))
    assert closed.get("bath.temperature_c") == pytest.approx(90.0, abs=0.5)
    assert opened.get("bath.temperature_c") == pytest.approx(90.0, abs=0.5)
    assert lost_l[0] == pytest.approx(0.14, abs=0.02)
    assert lost_l[1] / lost_l[0] == pytest.approx(10.0, rel=0.02)


LIDS = ((1.7 * 70.0 + 90.0, True), (1.7 * 70.0 + 900.0, False))


def test_glycol_share_and_boiling_point_rise_as_water_leaves() -> None:
    bath = plant(glycol_percent=33.0, start_c=90.0, lid=False, heater_w=1000.0)
    bath.advance(1.0, HEATING)
    percent, boiling_c = bath.get("bath.glycol_now_percent"), bath.get("bath.boiling_c")
    bath.advance(1800.0, HEATING)
    assert bath.get("bath.glycol_now_percent") > percent + 2.0
    assert bath.get("bath.boiling_c") > boiling_c


def test_water_boils_as_iapws_says_at_every_altitude() -> None:
    """ISO 2533:1975 pressures and boiling by IAPWS-IF97 equation 31, to 3000 m."""
    with (DATA / "altitude_pressure_boiling.csv").open() as file:
        for row in csv.DictReader(file):
            if float(row["H_geopotential_m"]) > 3000.0:
                continue
            bath = plant(pressure_kpa=float(row["p_std_Pa"]) / 1000.0)
            bath.advance(0.025, Drive())
            boiling_c = bath.get("bath.boiling_c")
            assert boiling_c == pytest.approx(float(row["T_boil_IF97_degC"]), abs=0.1)


@pytest.mark.parametrize(("percent", "c"), [(33, 104.0), (50, 107.5), (60, 111.0)])
def test_glycol_boils_higher(percent: float, c: float) -> None:
    """Tables of coolant makers, from memory, +- 2 K."""
    bath = plant(glycol_percent=percent)
    bath.advance(0.025, Drive())
    assert bath.get("bath.boiling_c") == pytest.approx(c, abs=2.0)


def test_boiling_bath_climbs_no_further() -> None:
    """What boils away carries the heat off; its latent heat is that of IAPWS-IF97."""
    bath = plant(start_c=99.0, heater_w=2000.0)
    bath.advance(300.0, HEATING)
    assert bath.get("bath.temperature_c") == pytest.approx(bath.get("bath.boiling_c"), abs=0.01)
    level_l = bath.get("bath.level_l")
    bath.advance(600.0, HEATING)
    at_k = bath.get("bath.boiling_c") + 273.15
    latent_j_per_kg = 1000.0 * (IAPWS97(T=at_k, x=1).h - IAPWS97(T=at_k, x=0).h)
    boiled_kg = (2000.0 - 1.7 * 80.0) * 600.0 / latent_j_per_kg
    assert level_l - bath.get("bath.level_l") == pytest.approx(boiled_kg / 0.998, rel=0.03)


def test_heat_arrives_after_sheath_and_dead_time() -> None:
    """Closed form without losses: P / C ((t - d) - s (1 - exp(-(t - d) / s))) for t > d."""
    bath = plant(loss_w_per_k=0, surface_m2=0, vessel_j_per_k=0, dead_s=5.0, sheath_s=10.0)
    store = 8.0 * 0.998 * 4180.0
    bath.advance(3.0, Drive())
    bath.advance(4.9, HEATING)
    assert bath.get("bath.temperature_c") == pytest.approx(20.0, abs=1e-9)
    for t in (14.9, 44.9):
        bath.advance(t - 4.9 if t < 20 else 30.0, HEATING)
        late = t - 5.0
        rise_k = 1500.0 / store * (late - 10.0 * (1.0 - math.exp(-late / 10.0)))
        assert bath.get("bath.temperature_c") - 20.0 == pytest.approx(rise_k, rel=0.02)


def test_probes_are_iec_60751() -> None:
    """IEC 60751:2022 table 1, every 10 K."""
    quiet = {"noise_k": 0.0}
    with (DATA / "pt100_iec60751_table.csv").open() as file:
        table = {float(r["t_degC"]): float(r["R_equation_ohm"]) for r in csv.DictReader(file)}
    for c in (20.0, 50.0, 80.0, 100.0):
        bath = {"start_c": c, "glycol_percent": 70, "mixing_k": 0, "ambient_c": 20}
        section = VirtualSection.model_validate(
            {"bath": bath, "bath_probe": quiet, "guard_probe": quiet | {"offset_k": 0.5}}
        )
        signals = VirtualPlant(section).advance(0.025, Drive())
        assert signals.bath_ohm == pytest.approx(table[c], abs=2e-4)
        assert signals.guard_ohm - signals.bath_ohm == pytest.approx(0.5 * 0.385, abs=0.005)


def test_probe_lags_behind_a_ramp_by_its_time_constant() -> None:
    probes = {
        "bath_probe": {"lag_s": 8.0, "noise_k": 0.0},
        "guard_probe": {"lag_s": 0.0, "noise_k": 0.0},
    }
    section = VirtualSection.model_validate({"bath": {"start_c": 60, "mixing_k": 0}, **probes})
    bath = VirtualPlant(section)
    rate = rate_k_per_min(bath, HEATING)
    signals = bath.advance(1.0, HEATING)
    ohm_per_k = 0.38332  # 100 (3.9083e-3 - 2 * 5.775e-7 * 65) at 65 degC, IEC 60751:2022
    late_k = (signals.guard_ohm - signals.bath_ohm) / ohm_per_k
    assert late_k == pytest.approx(rate / 60.0 * 8.0, rel=0.01)


def test_stirrer_needs_a_second_and_still_water_lies_in_layers() -> None:
    bath = plant(start_c=90.0)
    assert not bath.advance(0.9, Drive()).stirrer_turning
    assert bath.advance(0.2, Drive()).stirrer_turning
    bath.advance(60.0, Drive())
    assert abs(bath.get("bath.layers_k")) < 0.01
    assert not bath.advance(120.0, Drive(stirrer=False)).stirrer_turning
    assert bath.get("station.6.temperature_c") - bath.get("station.1.temperature_c") > 2.0


def test_units_take_their_heat_from_the_bath() -> None:
    """Six units that melt in a small bath: the same joules are missing from the coolant."""
    small = {"fill_l": 2, "loss_w_per_k": 0, "surface_m2": 0, "start_c": 85, "mixing_k": 0}
    units = [{"serial": f"T82-{n}", "station": n, "heater_ohm": 0} for n in range(1, 7)]
    bare, loaded = (
        VirtualPlant(VirtualSection.model_validate({"bath": small, "unit": u})) for u in ([], units)
    )
    for bath in (bare, loaded):
        bath.advance(60.0, HEATING)
        bath.advance(600.0, Drive())
    end_c = loaded.get("bath.temperature_c")
    melted = [1.0 / (1.0 + math.exp((90.0 - c) / 4.2)) for c in (85.0, end_c)]
    unit_j = (5.8 + 1.3 * 2.3 + 0.9 * 0.385) * (end_c - 85.0) + 247.0 * (melted[1] - melted[0])
    missing_k = bare.get("bath.temperature_c") - end_c
    store = (
        400.0 + 300.0 + (1.2 * 0.998 + 0.8 * 1.113) * (4180 - 660 + 70 * 3.9)
    )  # vessel, sheath, 40 % glycol
    assert missing_k * store == pytest.approx(6 * unit_j, rel=0.03)
