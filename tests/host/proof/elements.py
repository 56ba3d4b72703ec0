"""Wax elements to try the advice on, apart from the shapes that it fits itself."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from scipy.optimize import brentq
from scipy.special import erf

from proofbath.proof.lift_curve import Element, LiftCurve, OpeningCurve, lift_curve
from proofbath.virtual.description import VirtualUnit
from proofbath.virtual.truth import pin_area_mm2, rising_c, volume_lift_mm

LEVELS_MM = (0.1, 0.2, 0.35, *np.arange(0.5, 10.1, 0.5))
MODEL = VirtualUnit(serial="T82-MODEL", station=1, heater_ohm=0.0)
"""The element of the handbook's figures: 1300 mg of wax, 4.3 mm pin, opens at 82.2 °C."""

FreeLift = Callable[[float], float]


def steep_element() -> VirtualUnit:
    """Return an element that lifts 0.66 mm/K at its start, as the second one of the figures."""
    unit = MODEL.model_copy(update={"melting_width_k": 3.0, "melting_c": 85.8})
    lifted = volume_lift_mm(unit, 82.2) - 0.1 - unit.friction_mm / 2
    return unit.model_copy(update={"cavity_mm3": unit.cavity_mm3 + lifted * pin_area_mm2(unit)})


def free_lift(unit: VirtualUnit, more_mg: float = 0.0) -> FreeLift:
    """Return the closed form of a virtual element's lift, less half its friction."""
    unit = unit.model_copy(update={"wax_mg": unit.wax_mg + more_mg})
    return lambda c: volume_lift_mm(unit, c) - unit.friction_mm / 2


def by_error_function(more_mm: float = 0.0) -> FreeLift:
    """Return an element whose wax melts along an error function, in mm over °C."""
    return lambda c: more_mm - 3.4 + 0.04 * (c - 20) + 13 * 0.5 * (1 + erf((c - 91) / 9.5))


def of_two_phases(more_mm: float = 0.0) -> FreeLift:
    """Return an element with a solid-solid change of 12 % of its growth 14 K below melting."""

    def lift(c: float) -> float:
        main = 0.5 * (1 + math.tanh((c - 90) / 7.5))
        minor = 0.5 * (1 + erf((c - 76) / 5.0))
        return more_mm - 4.3 + 0.04 * (c - 20) + 13 * (0.88 * main + 0.12 * minor)

    return lift


def opens_c(free: FreeLift, lift_mm: float) -> float:
    """Return the temperature at which a free lift is reached, by root finding."""
    return float(brentq(lambda c: free(c) - lift_mm, -60.0, 200.0, xtol=1e-9))


def measured(free: FreeLift, levels: tuple[float, ...] = LEVELS_MM, **other: float) -> OpeningCurve:
    """Return the opening curve of an element without errors."""
    told = tuple(opens_c(free, mm) for mm in levels)
    return OpeningCurve(told, tuple(map(float, levels)), (0.005,) * len(levels), **other)


def curve_of(free: FreeLift, element: Element | None = None) -> LiftCurve:
    """Return the possible curves of an element, its pin and wax known."""
    return lift_curve(measured(free), element or Element(MODEL.pin_mm, MODEL.wax_mg))


def mean_and_sd(curve: LiftCurve, lift_mm: float) -> tuple[float, float]:
    """Return mean and sd of the temperature at a lift."""
    at = curve.temperature_c(lift_mm)
    mean = float(curve.weights @ at)
    return mean, math.sqrt(float(curve.weights @ (at - mean) ** 2))


def start_c(unit: VirtualUnit, lift_mm: float = 0.1) -> float:
    """Return where a virtual element comes to a lift."""
    found = rising_c(unit, lift_mm)
    assert found is not None
    return found
