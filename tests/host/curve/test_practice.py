"""What workshops see with their own eyes, on simulated units of that kind (no source in print)."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq

from host.curve.closed_form import STEP_S, ramps, record_of
from proofbath.curve.analyse import analyse
from proofbath.curve.record import CurveRecord
from proofbath.curve.result import CurveResult
from proofbath.virtual import truth
from proofbath.virtual.description import VirtualUnit
from proofbath.virtual.native import unit_response

BOILING_C = 99.97  # water at 101.325 kPa, IAPWS-IF97 equation 31
OHM = 16.0  # units in print have 14 to 18 ohm
COLD_S = 2400.0


def rated(start_c: float) -> VirtualUnit:
    """A unit filled to start at a temperature: its wax melts 7.9 K above, as in Teal-82."""

    def kind(cavity_mm3: float) -> VirtualUnit:
        return VirtualUnit(
            serial="unit",
            station=1,
            melting_c=start_c + 7.9,
            cavity_mm3=cavity_mm3,
            heater_ohm=OHM,
            heater_per_k=0.0,
        )

    def late_k(cavity_mm3: float) -> float:
        return (truth.rising_c(kind(cavity_mm3), 0.1) or 0.0) - start_c

    return kind(float(brentq(late_k, 1470.0, 1530.0)))


def in_boiling_water(unit: VirtualUnit, amps: float, on_s: float) -> tuple[CurveResult, float]:
    """Hang a cold unit into water that comes to the boil, wait an hour, then energise it.

    Returns the result and the lift after that hour.
    """
    bath_c = ramps((40.0, 0.0), (BOILING_C, 2.0), (BOILING_C, COLD_S + 1800.0 + on_s))
    t_s = np.arange(len(bath_c)) * STEP_S
    current_a = np.where(t_s > t_s[-1] - on_s, amps, 0.0)
    lift_mm, _ = unit_response(unit.parameters(), bath_c, current_a**2 * OHM, step_s=STEP_S)
    record = record_of(bath_c, lift_mm)
    volts = current_a * (OHM + 0.3)
    result = analyse(CurveRecord(t_s, record.bath_c, record.lift_mm, current_a, volts, "unit"))
    return result, float(lift_mm[current_a == 0.0][-1])


def test_a_unit_rated_above_boiling_stays_shut_and_half_an_ampere_opens_it_3_mm() -> None:
    """Common practice, no source: shut however long it boils; 0.5 A opens about 3 mm in 5 min."""
    result, boiled_mm = in_boiling_water(rated(102.0), 0.5, 300.0)
    assert boiled_mm == 0.0
    (step,) = result.heater_steps
    assert step.element_a == pytest.approx(0.5, abs=0.001)
    assert step.power_w == pytest.approx(0.5**2 * OHM, abs=0.01)
    assert step.resistance_ohm == pytest.approx(OHM, abs=0.01)
    assert step.response_s[1.0] < 300.0
    assert step.steady_lift_mm == pytest.approx(3.0, abs=0.5)


def test_recalibrated_lower_the_same_current_opens_7_mm_and_boiling_a_little() -> None:
    """Common practice, no source: 0.5 A opens about 7 mm within two minutes, boiling a little."""
    result, boiled_mm = in_boiling_water(rated(96.0), 0.5, 150.0)
    assert 0.1 < boiled_mm < 2.5
    (step,) = result.heater_steps
    assert step.response_s[7.0] < 130.0


def test_a_unit_for_an_engine_near_90_shows_a_millimetre_and_a_half_there() -> None:
    """Common practice, no source: about 1.5 mm of lift at 90 degC."""
    unit = rated(87.0)
    bath_c = ramps((72, 0), (72, 300), (104, 1), (104, 300), (72, 0.5))
    lift_mm, _ = unit_response(unit.parameters(), bath_c, step_s=STEP_S)
    result = analyse(record_of(bath_c, lift_mm), at_baths_c=[90.0])
    (shown,) = result.series["lift_at_mm"]
    assert shown.value == pytest.approx(1.5, abs=0.25)
    assert shown.value == pytest.approx(truth.lift_mm(unit, 90.0), abs=0.03)
