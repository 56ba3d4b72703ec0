"""How hot an engine may be aimed at, against the saturation line and hand figures."""

from __future__ import annotations

import pytest
from iapws.iapws97 import _TSat_P

from proofbath.control.boiling import Coolant
from proofbath.proof.engine_cooling import Aim, EngineCooling, aim_faults

CAP_C = 130.0


@pytest.mark.parametrize(("air_kpa", "cap_kpa"), [(101.325, 0.0), (101.325, 100.0), (80.0, 50.0)])
def test_the_limit_is_three_kelvin_below_boiling_under_the_cap(
    air_kpa: float, cap_kpa: float
) -> None:
    """Saturation by the iapws library (IAPWS-IF97); the cap's pressure adds to the air's."""
    cooling = EngineCooling(air_kpa=air_kpa, cap_kpa=cap_kpa)
    boiling_c = _TSat_P((air_kpa + cap_kpa) / 1000.0) - 273.15
    assert cooling.boiling_c() == pytest.approx(boiling_c, abs=1e-6)
    just_below, just_above = boiling_c - 3.0 - 1e-4, boiling_c - 3.0 + 1e-4
    assert aim_faults(Aim("Teal-82", just_below, 60.0, CAP_C), cooling) == []
    (fault,) = aim_faults(Aim("Teal-82", just_above, 60.0, CAP_C), cooling)
    assert f"the limit is {boiling_c - 3.0:.2f} °C" in fault
    assert ("or state the pressure" in fault) == (cap_kpa == 0.0)


def test_a_bench_target_hotter_than_the_engine_is_held_to_the_same_limits() -> None:
    cooling = EngineCooling()
    assert len(aim_faults(Aim("Teal-82", 95.0, 97.5, 96.0), cooling)) == 2
    assert aim_faults(Aim("Teal-82", 95.0, 96.0, 96.0), cooling) == []


def test_the_system_is_said_with_what_fills_it() -> None:
    half = Coolant(glycol="propylene", share_by_volume=0.5)
    said = EngineCooling(cap_kpa=90.0, coolant=half).in_words()
    assert said == "50% propylene glycol under a pressure cap of 90 kPa and 101.3 kPa of air"
    assert half.boiling_c(101.325) > EngineCooling().boiling_c()
