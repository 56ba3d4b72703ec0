"""Boiling limits against IAPWS, ISO 2533 and published boiling points of coolant mixtures."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from iapws.iapws97 import _TSat_P

from proofbath.control.boiling import Coolant, Glycol, pressure_kpa, saturation_c

DATA = Path(__file__).parents[2] / "data"


def rows(name: str) -> list[dict[str, str]]:
    with (DATA / name).open() as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("p_mpa", [0.1, 1.0, 10.0])
def test_saturation_temperature_agrees_with_the_release(p_mpa: float) -> None:
    """IAPWS R7-97(2012) table 36, printed to nine digits."""
    published = {
        float(r["input_value"]): float(r["published"])
        for r in rows("iapws_if97_region4_verification.csv")
        if r["quantity"] == "T_s"
    }
    assert saturation_c(1000.0 * p_mpa) + 273.15 == pytest.approx(published[p_mpa], abs=5e-7)


@pytest.mark.parametrize("kpa", [60.0, 70.1, 84.6, 95.46, 101.325, 108.0, 180.0])
def test_saturation_temperature_agrees_with_an_independent_library(kpa: float) -> None:
    assert saturation_c(kpa) == pytest.approx(_TSat_P(kpa / 1000.0) - 273.15, abs=1e-6)


def test_standard_atmosphere_and_its_boiling_points() -> None:
    """ISO 2533:1975 by formula; boiling by IAPWS-95 (CoolProp), another formulation."""
    for row in rows("altitude_pressure_boiling.csv"):
        kpa = pressure_kpa(float(row["H_geopotential_m"]))
        assert kpa == pytest.approx(float(row["p_std_Pa"]) / 1000.0, abs=1e-5)
        other_c = float(row["T_boil_IAPWS95_CoolProp_degC"])
        assert saturation_c(kpa) == pytest.approx(other_c, abs=5e-4)


@pytest.mark.parametrize("row", rows("glycol_boiling_points.csv"), ids=lambda r: f"{r['glycol']}")
def test_mixtures_boil_within_two_kelvin_of_the_table(row: dict[str, str]) -> None:
    """Boiling points by volume share as coolant makers print them, from memory."""
    share = float(row["percent (memory table: by volume; Raoult column: by mass)"]) / 100.0
    if share > 0.6:
        return
    kind: Glycol = "ethylene" if row["glycol"] == "EG" else "propylene"
    coolant = Coolant(glycol=kind, share_by_volume=share)
    assert coolant.boiling_c(101.325) == pytest.approx(float(row["T_boil_C_memory"]), abs=2.0)


def test_the_limit_stays_three_kelvin_below_boiling_and_falls_with_altitude() -> None:
    water = Coolant(glycol="none")
    assert water.limit_c(101.325) == pytest.approx(96.97, abs=0.01)
    per_kpa = (water.limit_c(101.325) - water.limit_c(100.325)) / 1.0
    assert per_kpa == pytest.approx(0.277, abs=0.002)  # 0.277 K per kPa at sea level, IAPWS-IF97
