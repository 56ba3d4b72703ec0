"""From a unit's evidence to its quantities: means at zero rate, each with its budget."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from scipy.optimize import brentq

from proofbath.curve.budget import Contribution
from proofbath.curve.evidence import Evidence
from proofbath.curve.features import Event, Reading
from proofbath.curve.lag import Lag
from proofbath.curve.result import Quantity, known, unknown
from proofbath.quantity.levels import LEVELS_MM

FALLING_LAG_RELATIVE_U = 0.058  # rising and falling lags agree within 10 % on the element model
HYSTERESIS_SCATTER_K, HYSTERESIS_SCATTER_DOF = 0.01, 4.0
DEFAULT_HYSTERESIS_LIFT_MM = 1.0


def rising_quantity(evidence: Evidence, lift_mm: float, events: Sequence[Event]) -> Quantity:
    """Return the rising temperature of a lift at zero rate with its budget."""
    found = evidence.rising_at_zero_rate(lift_mm, events)
    weight = math.sqrt(sum(w**2 for w in found.cycle_weights))
    repeat = evidence.repeatability
    contributions = [
        *evidence.bench_part(lift_mm, events),
        Contribution("crossing noise", found.noise_u_k, 1.0, 20.0, "A"),
        _scaled(repeat, weight),
        Contribution("lag", found.known_lag_u_s, found.lag_weight_k_per_s, note=found.lag.note),
    ]
    return known(found.value_c, contributions, "zero", {"lift_mm": lift_mm})


def _scaled(item: Contribution, factor: float) -> Contribution:
    return Contribution(
        item.name,
        item.standard_uncertainty,
        factor,
        item.degrees_of_freedom,
        item.evaluation,
        item.note,
    )


def falling_quantity(
    evidence: Evidence, lift_mm: float, events: Sequence[Event], lag: Lag
) -> Quantity:
    """Return the falling temperature of a lift, corrected by the rising lag at the true rate."""
    rate = float(np.mean([event.lag_rate_k_per_min for event in events])) / 60
    value = float(np.mean([event.bath_c for event in events])) - rate * lag.lag_s
    noise = math.sqrt(sum(e.noise_u_k**2 for e in events)) / len(events)
    contributions = [
        *evidence.bench_part(lift_mm, events),
        Contribution("crossing noise", noise, 1.0, 20.0, "A"),
        _scaled(evidence.repeatability, 1 / math.sqrt(len(events))),
        Contribution("lag", lag.u_s, rate, note=lag.note),
        Contribution("lag falling", FALLING_LAG_RELATIVE_U * lag.lag_s, rate),
    ]
    return known(value, contributions, "zero", {"lift_mm": lift_mm})


def temperature_at_quantity(evidence: Evidence, lift_mm: float) -> Quantity:
    """Return the rising bath temperature of any lift at zero rate."""
    events = evidence.rising_events(lift_mm)
    if not events:
        return unknown(f"no cycle passes {lift_mm:g} mm while rising", {"lift_mm": lift_mm})
    return rising_quantity(evidence, lift_mm, events)


def opening_quantities(evidence: Evidence) -> tuple[Quantity, ...]:
    """Return the rising curve at zero rate: the temperature of each level that it reaches."""
    found = ((level, evidence.rising_events(level)) for level in LEVELS_MM)
    return tuple(rising_quantity(evidence, level, events) for level, events in found if events)


def lift_at_quantity(evidence: Evidence, bath_c: float) -> Quantity:
    """Return the rising lift at a bath temperature at zero rate.

    The lift is sought whose zero-rate temperature is the one asked for; its budget is that of the
    temperature times the curve's slope.
    """
    at = {"bath_c": bath_c}
    low_mm, high_mm = evidence.threshold_mm / 2, evidence.largest_lift_mm()

    def missing_k(lift_mm: float) -> float:
        events = evidence.rising_events(lift_mm)
        return evidence.rising_at_zero_rate(lift_mm, events).value_c - bath_c if events else 99.0

    if high_mm <= low_mm or missing_k(low_mm) > 0 or missing_k(high_mm) < 0:
        return unknown("the rising curve does not pass this temperature", at)
    lift_mm = float(brentq(missing_k, low_mm, high_mm, xtol=1e-4))
    events = evidence.rising_events(lift_mm)
    slope = float(np.mean([event.lift_slope_mm_per_k for event in events]))
    budget = rising_quantity(evidence, lift_mm, events).contributions
    return known(lift_mm, [_scaled(item, -item.sensitivity * slope) for item in budget], "zero", at)


def hysteresis_quantity(evidence: Evidence, lift_mm: float) -> Quantity:
    """Return rising minus falling temperature of a lift at zero rate; probe errors cancel.

    Its interval is about twice as wide as the element model's own errors (95 % within 0.05 K): it
    hangs on the lag alone, and the lag's uncertainty leaves room for elements whose lag does not
    grow with the lift's slope; one of constant lag errs by 0.045 K.
    """
    at = {"lift_mm": lift_mm}
    rising, pairs = evidence.rising_events(lift_mm), evidence.event_pairs(lift_mm)
    if not pairs:
        return unknown(f"no cycle passes {lift_mm:g} mm both rising and falling", at)
    lag = evidence.rising_at_zero_rate(lift_mm, rising).lag
    differences = [up.bath_c - down.bath_c for up, down in pairs]
    rates = [(u.lag_rate_k_per_min - d.lag_rate_k_per_min) / 60 for u, d in pairs]
    at_zero = np.array(differences) - np.array(rates) * lag.lag_s
    rate, down_rate = (
        float(np.mean(rates)),
        float(np.mean([d.lag_rate_k_per_min for _, d in pairs])),
    )
    count = len(pairs)
    scatter_k, freedom = _own_scatter(at_zero)
    noise = math.sqrt(sum(u.noise_u_k**2 + d.noise_u_k**2 for u, d in pairs)) / count
    bends = [abs(1 / u.lift_slope_mm_per_k - 1 / d.lift_slope_mm_per_k) for u, d in pairs]
    contributions = [
        Contribution("gauge", evidence.bench.gauge_mm, float(np.mean(bends))),
        Contribution("crossing noise", noise, 1.0, 20.0, "A"),
        Contribution("cycle scatter", scatter_k, 1 / math.sqrt(count), freedom, "A"),
        Contribution("lag", lag.u_s, rate, note=lag.note),
        Contribution("lag falling", FALLING_LAG_RELATIVE_U * lag.lag_s, down_rate / 60),
    ]
    return known(float(np.mean(at_zero)), contributions, "zero", at)


def _own_scatter(values: np.ndarray) -> tuple[float, float]:
    """Scatter of one unit's cycles in a difference, steadied by a small prior."""
    own_dof = len(values) - 1
    squares = float(((values - values.mean()) ** 2).sum())
    total = own_dof + HYSTERESIS_SCATTER_DOF
    return math.sqrt((squares + HYSTERESIS_SCATTER_DOF * HYSTERESIS_SCATTER_K**2) / total), total


def full_lift_quantity(evidence: Evidence) -> Quantity:
    """Return the mean lift at the end of the top holds, for the bath read there."""
    readings = [c.full_lift for c in evidence.cycles if c.full_lift]
    if not readings:
        return unknown(evidence.reason("full_lift_mm"))
    bench, count = evidence.bench, len(readings)
    lift_mm = float(np.mean([r.lift_mm for r in readings]))
    slope = float(np.mean([r.lift_slope_mm_per_k for r in readings]))
    scale = None if bench.gauge_relative is None else bench.gauge_relative * lift_mm
    contributions = [
        Contribution("bath probe", bench.probe_k, slope, bench.probe_dof or math.inf),
        Contribution("bath gradient", bench.gradient_k, slope),
        Contribution("gauge", bench.gauge_mm),
        Contribution("gauge scale", scale),
        _zero_part(evidence, [r.bath_c for r in readings]),
        _noise_part(readings),
        _scaled(evidence.repeatability, slope / math.sqrt(count)),
        Contribution("change between nights", bench.night_k, slope),
    ]
    at = {"bath_c": float(np.mean([r.bath_c for r in readings]))}
    return known(lift_mm, contributions, None, at)


def zero_return_quantity(evidence: Evidence) -> Quantity:
    """Return the mean zeroed lift after closing; the gauge's zero and scale do not enter.

    Its interval holds more than 95 %: of white noise and of batch means the larger counts, so
    that slow wandering of a gauge is seen. Both are below the gauge's resolution.
    """
    readings = [c.zero_return for c in evidence.cycles if c.zero_return]
    if not readings:
        return unknown(evidence.reason("zero_return_mm"))
    lifts_mm = np.array([r.lift_mm for r in readings])
    contributions = [
        Contribution("gauge", evidence.bench.gauge_mm),
        _zero_part(evidence, [r.bath_c for r in readings]),
        _noise_part(readings),
    ]
    if len(readings) > 1:
        seen = sum(item.share**2 for item in contributions[1:])
        beyond = math.sqrt(max(0.0, float(np.var(lifts_mm, ddof=1)) - len(readings) * seen))
        weight, freedom = 1 / math.sqrt(len(readings)), len(readings) - 1.0
        contributions.append(Contribution("cycle scatter", beyond, weight, freedom, "A"))
    return known(float(lifts_mm.mean()), contributions)


def _zero_part(evidence: Evidence, baths_c: Sequence[float]) -> Contribution:
    bath_c = float(np.mean(baths_c))
    zero_mm = float(np.mean([c.zero.u_mm(bath_c) for c in evidence.cycles if c.zero]))
    return Contribution("lift zero", zero_mm, 1.0, 30.0, "A", evidence.zero_note())


def _noise_part(readings: Sequence[Reading]) -> Contribution:
    noise_mm = math.sqrt(sum(r.u_mm**2 for r in readings)) / len(readings)
    return Contribution("reading noise", noise_mm, 1.0, 20.0, "A")
