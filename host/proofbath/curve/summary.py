"""The named quantities of a unit, formed from its evidence."""

from __future__ import annotations

import math

import numpy as np

from proofbath.curve.budget import Contribution
from proofbath.curve.evidence import Evidence
from proofbath.curve.quantities import (
    DEFAULT_HYSTERESIS_LIFT_MM,
    falling_quantity,
    full_lift_quantity,
    hysteresis_quantity,
    rising_quantity,
    zero_return_quantity,
)
from proofbath.curve.result import Quantity, known, unknown


def named_quantities(evidence: Evidence, hysteresis_lift_mm: float | None) -> dict[str, Quantity]:
    """Return a unit's unpowered quantities by their JSON names.

    Hysteresis is stated at `hysteresis_lift_mm`, by default at half the rated lift or at 1 mm.
    """
    at_mm = hysteresis_lift_mm or (
        evidence.rated_lift_mm / 2 if evidence.rated_lift_mm else DEFAULT_HYSTERESIS_LIFT_MM
    )
    return {
        "start_to_open_c": start_quantity(evidence),
        "full_open_c": full_open_quantity(evidence),
        "full_lift_mm": full_lift_quantity(evidence),
        "closing_c": closing_quantity(evidence),
        "hysteresis_k": hysteresis_quantity(evidence, at_mm),
        "zero_return_mm": zero_return_quantity(evidence),
        "lag_s": _lag(evidence),
        "start_by_line_c": _start_by_line(evidence),
        "repeatability_k": _repeatability(evidence),
    }


def start_quantity(evidence: Evidence) -> Quantity:
    """Return where the cycles pass the threshold rising, at zero rate."""
    events = [c.start for c in evidence.cycles if c.start]
    if not events:
        return unknown(evidence.reason("start_to_open_c"), {"lift_mm": evidence.threshold_mm})
    return rising_quantity(evidence, evidence.threshold_mm, events)


def full_open_quantity(evidence: Evidence) -> Quantity:
    """Return where the cycles pass the rated lift rising, at zero rate."""
    if evidence.rated_lift_mm is None:
        return unknown("no rated lift was stated; give one")
    events = [c.full_open for c in evidence.cycles if c.full_open]
    if not events:
        return unknown(evidence.reason("full_open_c"), {"lift_mm": evidence.rated_lift_mm})
    return rising_quantity(evidence, evidence.rated_lift_mm, events)


def closing_quantity(evidence: Evidence) -> Quantity:
    """Return where the cycles pass the threshold falling, at zero rate."""
    events = [c.closing for c in evidence.cycles if c.closing]
    if not events:
        return unknown(evidence.reason("closing_c"), {"lift_mm": evidence.threshold_mm})
    starts = [c.start for c in evidence.cycles if c.start]
    lag = evidence.known_lag
    if starts:
        lag = evidence.rising_at_zero_rate(evidence.threshold_mm, starts).lag
    return falling_quantity(evidence, evidence.threshold_mm, events, lag)


def _lag(evidence: Evidence) -> Quantity:
    events = [c.start for c in evidence.cycles if c.start]
    if not events:
        return unknown(evidence.reason("start_to_open_c"))
    lag = evidence.rising_at_zero_rate(evidence.threshold_mm, events).lag
    probe = Contribution("bath probe's lag", evidence.bench.probe_lag_u_s)
    return known(
        lag.lag_s,
        [Contribution("lag fit", lag.u_s, note=lag.note), probe],
        None,
        {"lift_mm": evidence.threshold_mm},
    )


def _start_by_line(evidence: Evidence) -> Quantity:
    """The straight line's estimate as the cycles show it: another quantity, not at zero rate."""
    shown = [(c.start_by_line_c, c.start) for c in evidence.cycles]
    pairs = [(line_c, start) for line_c, start in shown if line_c is not None and start]
    if not pairs:
        return unknown(evidence.reason("start_by_line_c"))
    starts = [start for _, start in pairs]
    found = evidence.rising_at_zero_rate(evidence.threshold_mm, starts)
    lags = [start.lag_rate_k_per_min / 60 * found.lag.lag_s for start in starts]
    value = float(np.mean([line_c for line_c, _ in pairs]) - np.mean(lags))
    start = rising_quantity(evidence, evidence.threshold_mm, starts)
    return known(value, start.contributions, "zero", {"from_mm": 0.3, "to_mm": 1.5})


def _repeatability(evidence: Evidence) -> Quantity:
    """Sd of the unit's own cycles at zero rate, with the chi-square's relative uncertainty."""
    events = [c.start for c in evidence.cycles if c.start]
    if len(events) < 2:
        return unknown("fewer than two cycles show a start")
    lag_s = evidence.rising_at_zero_rate(evidence.threshold_mm, events).lag.lag_s
    at_zero = [event.bath_c - event.lag_rate_k_per_min / 60 * lag_s for event in events]
    sd_k, freedom = float(np.std(at_zero, ddof=1)), len(events) - 1.0
    own = Contribution("few cycles", sd_k / math.sqrt(2 * freedom), 1.0, freedom, "A")
    return known(sd_k, [own], "zero")
