"""Boiling limits against IAPWS, ISO 2533 and boiling points of mixtures from memory."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from iapws.iapws97 import _TSat_P
from pydantic import ValidationError

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


PERCENT = "percent (memory table: by volume; Raoult column: by mass)"
GLYCOLS: dict[str, Glycol] = {"EG": "ethylene", "PG": "propylene"}
MIXTURES = [
    (row["glycol"], float(row[PERCENT]), float(row["T_boil_C_memory"]))
    for row in rows("glycol_boiling_points.csv")
    if float(row[PERCENT]) <= 60.0
]


@pytest.mark.parametrize(("glycol", "percent", "boils_c"), MIXTURES)
def test_mixtures_boil_within_two_kelvin_of_the_table(
    glycol: str, percent: float, boils_c: float
) -> None:
    """Boiling points by volume share as coolant makers tell them: from memory, no source."""
    coolant = Coolant(glycol=GLYCOLS[glycol], share_by_volume=percent / 100.0)
    assert coolant.boiling_c(101.325) == pytest.approx(boils_c, abs=2.0)


@pytest.mark.parametrize("glycol", ["ethylene", "propylene"])
@pytest.mark.parametrize("percent", [70.1, 100.0])
def test_a_mixture_beyond_seventy_percent_is_refused(glycol: Glycol, percent: float) -> None:
    with pytest.raises(ValidationError, match="share_by_volume"):
        Coolant(glycol=glycol, share_by_volume=percent / 100.0)


def test_the_limit_stays_three_kelvin_below_boiling_and_falls_with_altitude() -> None:
    water = Coolant(glycol="none")
    assert water.limit_c(101.325) == pytest.approx(96.97, abs=0.01)
    per_kpa = (water.limit_c(101.325) - water.limit_c(100.325)) / 1.0
    assert per_kpa == pytest.approx(0.277, abs=0.002)  # 0.277 K per kPa at sea level, IAPWS-IF97
