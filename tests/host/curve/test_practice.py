"""A unit in boiling water, then energised: found is what the unit model's closed form says."""

from __future__ import annotations

import numpy as np
import pytest

from host.curve.closed_form import STEP_S, ramps, record_of
from proofbath.curve.analyse import analyse
from proofbath.curve.record import CurveRecord
from proofbath.curve.result import CurveResult
from proofbath.virtual import truth
from proofbath.virtual.description import VirtualUnit
from proofbath.virtual.native import unit_response

BOILING_C = 99.97  # water at 101.325 kPa, IAPWS-IF97 equation 31
COLD_S, STEADY_S = 2400.0, 1500.0
AMPS = 0.6


def unit_melting_at(melting_c: float) -> VirtualUnit:
    """A unit of the model's own figures, its heater the same hot as cold."""
    return VirtualUnit(serial="unit", station=1, melting_c=melting_c, heater_per_k=0.0)


def in_boiling_water(unit: VirtualUnit) -> tuple[CurveResult, float]:
    """Hang a cold unit into water that comes to the boil, wait an hour, then energise it.

    Returns the result and the lift after that hour.
    """
    bath_c = ramps((40.0, 0.0), (BOILING_C, 2.0), (BOILING_C, COLD_S + 1800.0 + STEADY_S))
    t_s = np.arange(len(bath_c)) * STEP_S
    current_a = np.where(t_s > t_s[-1] - STEADY_S, AMPS, 0.0)
    ohm = unit.heater_ohm
    lift_mm, _ = unit_response(unit.parameters(), bath_c, current_a**2 * ohm, step_s=STEP_S)
    record = record_of(bath_c, lift_mm)
    volts = current_a * (ohm + 0.3)
    result = analyse(CurveRecord(t_s, record.bath_c, record.lift_mm, current_a, volts, "unit"))
    return result, float(lift_mm[current_a == 0.0][-1])


def test_a_unit_rated_above_boiling_stays_shut_in_boiling_water_and_opens_by_its_heater() -> None:
    """Shut however long it boils (common practice); the powered lift is the model's closed form."""
    unit = unit_melting_at(112.0)
    assert (truth.rising_c(unit, 0.1) or 0.0) > BOILING_C
    result, boiled_mm = in_boiling_water(unit)
    assert boiled_mm == 0.0
    (step,) = result.heater_steps
    assert step.settled.element_a == pytest.approx(AMPS, abs=0.001)
    assert step.settled.power_w == pytest.approx(AMPS**2 * unit.heater_ohm, abs=0.01)  # I² R
    assert step.settled.resistance_ohm == pytest.approx(unit.heater_ohm, abs=0.01)
    true_mm = truth.lift_mm(unit, BOILING_C, truth.Power(a=AMPS))
    assert true_mm > 1.0
    assert step.steady_lift.value == pytest.approx(true_mm, abs=0.05)


def test_a_unit_that_opens_below_boiling_shows_its_lift_there_without_power() -> None:
    """Lift in boiling water and the further lift by the heater: the model's closed form."""
    unit = unit_melting_at(104.0)
    true_mm = truth.lift_mm(unit, BOILING_C)
    assert true_mm > 0.1
    result, boiled_mm = in_boiling_water(unit)
    assert boiled_mm == pytest.approx(true_mm, abs=0.02)
    (step,) = result.heater_steps
    powered_mm = truth.lift_mm(unit, BOILING_C, truth.Power(a=AMPS))
    assert step.steady_lift.value == pytest.approx(powered_mm, abs=0.05)


@pytest.mark.parametrize("above_start_k", [1.0, 3.0, 6.0])
def test_the_lift_at_a_stated_bath_is_the_closed_form_above_the_start(above_start_k: float) -> None:
    unit = unit_melting_at(95.0)
    at_c = (truth.rising_c(unit, 0.1) or 0.0) + above_start_k
    bath_c = ramps((72, 0), (72, 300), (104, 1), (104, 300), (72, 0.5))
    lift_mm, _ = unit_response(unit.parameters(), bath_c, step_s=STEP_S)
    result = analyse(record_of(bath_c, lift_mm), at_baths_c=[at_c])
    (shown,) = result.series["lift_at_mm"]
    assert shown.value == pytest.approx(truth.lift_mm(unit, at_c), abs=0.03)
