"""True answers of a virtual unit in closed form, without running the plant.

Truth is the limit of zero rate from the fully closed, cold state: every part of the unit is in
balance with the bath, the wax melts along its rising branch, and the pin hangs behind by half
of its friction. A falling answer follows the same branch backwards, `play_k` lower and with the
friction on the other side. Scatter from cycle to cycle is left out: it has mean 0.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from scipy.optimize import brentq

from proofbath.virtual.description import VirtualUnit

FILM_REFERENCE_C = 80.0
EXCESS_REFERENCE_K, LEAST_EXCESS_K = 5.0, 0.1
"""Where a film of the power law has its stated value, and below which it falls no more."""
BURNT_K = 500.0
_COLDEST_C, _HOTTEST_C = -100.0, 300.0


@dataclass(frozen=True, slots=True)
class Power:
    """What heats the wax: a current in A through the unit's own heater, without one a power."""

    w: float = 0.0
    a: float = 0.0


UNPOWERED = Power()


def volume_lift_mm(unit: VirtualUnit, theta_c: float) -> float:
    """Return lift before friction and stop of wax melted up to one temperature; may be < 0."""
    melted = 1.0 / (1.0 + math.exp((unit.melting_c - theta_c) / unit.melting_width_k))
    solid = _solid_cm3_per_g(unit, theta_c)
    liquid = _solid_cm3_per_g(unit, unit.melting_c) * unit.melt_ratio
    liquid *= 1.0 + unit.liquid_expansion_per_k * (theta_c - unit.melting_c)
    volume_mm3 = unit.wax_mg * (solid + melted * (liquid - solid))
    return (volume_mm3 - unit.cavity_mm3) / pin_area_mm2(unit) + unit.setting_mm


def _solid_cm3_per_g(unit: VirtualUnit, c: float) -> float:
    return unit.solid_cm3_per_g * (1.0 + unit.solid_expansion_per_k * (c - 20.0))


def pin_area_mm2(unit: VirtualUnit) -> float:
    """Return the area of the pin."""
    return math.pi / 4.0 * unit.pin_mm**2


def film_w_per_k(unit: VirtualUnit, bath_c: float, excess_k: float) -> float:
    """Return what the film conducts a kelvin with the cup `excess_k` hotter than the bath."""
    grown = 1.0 + unit.film_growth_per_k * (bath_c + excess_k - FILM_REFERENCE_C)
    own = unit.film_excess_per_k * excess_k
    convected = math.pow(max(excess_k, LEAST_EXCESS_K) / EXCESS_REFERENCE_K, unit.film_exponent)
    return unit.film_w_per_k * grown * convected * (1.0 + own if own >= 0.0 else 1.0 / (1.0 - own))


def cup_c(unit: VirtualUnit, bath_c: float, power_w: float) -> float:
    """Return the steady temperature of the cup, hotter than the bath by what the film lets pass.

    A film that falls as it is heated carries no more than a certain power: beyond it the answer
    is `BURNT_K` over the bath.
    """
    if power_w <= 0.0:
        return bath_c

    def kept_w(excess_k: float) -> float:
        return power_w - film_w_per_k(unit, bath_c, excess_k) * excess_k

    return bath_c + (_root(kept_w, 0.0, BURNT_K) if kept_w(BURNT_K) < 0.0 else BURNT_K)


def shells_c(unit: VirtualUnit, bath_c: float, power_w: float) -> list[float]:
    """Return the steady temperatures of the wax, core first; the heater sits in the core."""
    at_cup_c = cup_c(unit, bath_c, power_w)
    mean_k = power_w * (1.0 - unit.cup_power_share) / unit.wax_w_per_k
    if unit.shells == 1:
        return [at_cup_c + mean_k]
    step_k = mean_k * unit.core_share * 2.0 / (unit.shells - 1)
    outermost_c = at_cup_c + mean_k * (1.0 - unit.core_share)
    return [outermost_c + step_k * i for i in reversed(range(unit.shells))]


def heater_ohm(unit: VirtualUnit, core_c: float) -> float:
    """Return the resistance of the heater with its core at a temperature."""
    return unit.heater_ohm * (1.0 + unit.heater_per_k * (core_c - 25.0))


def element_w(unit: VirtualUnit, bath_c: float, power: Power) -> float:
    """Return the steady power in the wax; a current meets the heater's warm resistance."""
    if power.a == 0.0:
        return power.w

    def excess_w(w: float) -> float:
        return w - power.a**2 * heater_ohm(unit, shells_c(unit, bath_c, w)[0])

    return _root(excess_w, 0.0, 10.0 * power.a**2 * unit.heater_ohm + 1.0)


def steady_volume_lift_mm(unit: VirtualUnit, bath_c: float, power: Power, cold_k: float) -> float:
    """Return lift before friction and stop with the wax melted `cold_k` above its temperature."""
    wax_c = shells_c(unit, bath_c, element_w(unit, bath_c, power))
    return sum(volume_lift_mm(unit, c + cold_k) for c in wax_c) / len(wax_c)


def lift_mm(unit: VirtualUnit, bath_c: float, power: Power = UNPOWERED) -> float:
    """Return the rising lift at a bath temperature, friction and stop included."""
    x_mm = steady_volume_lift_mm(unit, bath_c, power, 0.0) - unit.friction_mm / 2.0
    return min(max(x_mm, 0.0), unit.stop_mm)


def rising_c(
    unit: VirtualUnit, at_mm: float, power: Power = UNPOWERED, *, friction: bool = True
) -> float | None:
    """Return the rising bath temperature at which the lift is `at_mm`, None if it never is."""
    return _crossing_c(unit, at_mm, power, 0.0, unit.friction_mm / 2.0 * friction)


def falling_c(
    unit: VirtualUnit, at_mm: float, power: Power = UNPOWERED, *, friction: bool = True
) -> float | None:
    """Return the falling bath temperature at which the lift is `at_mm`, None if it never is."""
    return _crossing_c(unit, at_mm, power, unit.play_k, -unit.friction_mm / 2.0 * friction)


def hysteresis_k(
    unit: VirtualUnit, at_mm: float, power: Power = UNPOWERED, *, friction: bool = True
) -> float | None:
    """Return rising minus falling bath temperature at one lift."""
    up_c = rising_c(unit, at_mm, power, friction=friction)
    down_c = falling_c(unit, at_mm, power, friction=friction)
    return None if up_c is None or down_c is None else up_c - down_c


def shift_k_per_w(unit: VirtualUnit, at_mm: float, power: Power) -> float | None:
    """Return how far `power` moves the rising crossing of `at_mm`, a watt; negative is down."""
    cold_c, warm_c = rising_c(unit, at_mm), rising_c(unit, at_mm, power)
    if cold_c is None or warm_c is None:
        return None
    power_w = element_w(unit, warm_c, power)
    return (warm_c - cold_c) / power_w if power_w > 0 else None


def _crossing_c(
    unit: VirtualUnit, at_mm: float, power: Power, cold_k: float, friction_mm: float
) -> float | None:
    if not 0.0 < at_mm <= unit.stop_mm:
        return None

    def missing_mm(bath_c: float) -> float:
        return steady_volume_lift_mm(unit, bath_c, power, cold_k) - friction_mm - at_mm

    if missing_mm(_COLDEST_C) > 0.0 or missing_mm(_HOTTEST_C) < 0.0:
        return None
    return _root(missing_mm, _COLDEST_C, _HOTTEST_C)


def _root(function: Callable[[float], float], low: float, high: float) -> float:
    return float(brentq(function, low, high, xtol=1e-9))


@dataclass(frozen=True, slots=True)
class TrueUnit:
    """True answers of one unit under one power; None where the unit never gets there."""

    serial: str
    station: int
    start_to_open_c: float | None
    start_to_open_frictionless_c: float | None
    full_open_c: float | None
    full_lift_mm: float
    closing_c: float | None
    hysteresis_k: dict[float, float | None]
    heater_ohm_at_25_c: float | None
    shift_k_per_w: float | None


def true_unit(
    unit: VirtualUnit,
    *,
    threshold_mm: float = 0.1,
    rated_lift_mm: float = 8.0,
    full_at_c: float = 97.0,
    hysteresis_at_mm: tuple[float, ...] = (1.0, 4.0),
    power: Power = UNPOWERED,
) -> TrueUnit:
    """Return the true answers; full lift is the rising lift with the bath at `full_at_c`."""
    rising = partial(rising_c, unit, power=power)
    return TrueUnit(
        serial=unit.serial,
        station=unit.station,
        start_to_open_c=rising(threshold_mm),
        start_to_open_frictionless_c=rising(threshold_mm, friction=False),
        full_open_c=rising(rated_lift_mm),
        full_lift_mm=lift_mm(unit, full_at_c, power),
        closing_c=falling_c(unit, threshold_mm, power),
        hysteresis_k={mm: hysteresis_k(unit, mm, power) for mm in hysteresis_at_mm},
        heater_ohm_at_25_c=unit.heater_ohm or None,
        shift_k_per_w=shift_k_per_w(unit, threshold_mm, power),
    )
