"""From one unit's record to its result: the analysis' front door."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from proofbath.curve.bench_budget import BenchBudget
from proofbath.curve.blank import SLOPE_LEFT_MM_PER_K, Blank
from proofbath.curve.branches import cycles_of
from proofbath.curve.budget import Contribution
from proofbath.curve.cycles import features_of_cycles
from proofbath.curve.evidence import Evidence
from proofbath.curve.features import CycleFeatures, Wanted
from proofbath.curve.heated import heated_of
from proofbath.curve.quantities import (
    DEFAULT_HYSTERESIS_LIFT_MM,
    falling_quantity,
    full_lift_quantity,
    hysteresis_quantity,
    lift_at_quantity,
    rising_quantity,
    temperature_at_quantity,
    zero_return_quantity,
)
from proofbath.curve.record import CurveRecord
from proofbath.curve.result import CurveResult, CycleResult, Quantity, Warned, known, unknown
from proofbath.curve.samples import reduce
from proofbath.curve.trust import findings, spoiled
from proofbath.errors import InputError

HYSTERESIS_LIFTS_MM = (0.5, 1.0, 2.0, 4.0, 6.0, 8.0)


def analyse(
    record: CurveRecord,
    threshold_mm: float = 0.1,
    rated_lift_mm: float | None = None,
    bench_budget: BenchBudget | None = None,
    blank: Blank | None = None,
    cycles: Sequence[int] | None = None,
    hysteresis_lift_mm: float | None = None,
    at_lifts_mm: Sequence[float] = (),
    at_baths_c: Sequence[float] = (),
) -> CurveResult:
    """Return what a record says about its unit; temperatures in °C at zero rate, lifts in mm.

    `threshold_mm` defines start-to-open and closing, `rated_lift_mm` full-open; `blank` is the
    station's blank curve; `cycles` picks cycles by number from 0 (all by default);
    `at_lifts_mm` and `at_baths_c` ask for further temperatures and lifts of the rising branch.
    What the record does not support is None with its reason.
    Raises InputError for impossible arguments, RecordError for an unusable record.
    """
    if not 0.01 <= threshold_mm <= 5.0:
        raise InputError(f"threshold {threshold_mm:g} mm: 0.01 to 5 mm can be told; give another")
    if rated_lift_mm is not None and not threshold_mm < rated_lift_mm <= 25.0:
        raise InputError(f"rated lift {rated_lift_mm:g} mm: more than the threshold, at most 25 mm")
    bench = bench_budget or BenchBudget()
    samples, warned = reduce(record, bench.probe_lag_s or 0.0)
    if bench_budget is None:
        warned.append(
            Warned(
                "no_bench_budget",
                "probe, gradient, gauge and pooled repeatability uncertainties were not supplied;"
                " U covers only what the file shows; give a bench file",
            )
        )
    parts = cycles_of(samples)
    wanted = Wanted(threshold_mm, rated_lift_mm)
    if blank is not None:
        samples = blank.taken_off(samples, parts)
        wanted = replace(wanted, unknown_slope_mm_per_k=SLOPE_LEFT_MM_PER_K)
    found = features_of_cycles(samples, parts, wanted)
    heated = heated_of(samples, bench, threshold_mm)
    used = [
        features
        for number, features in enumerate(found)
        if (cycles is None or number in cycles) and not heated.heats(features)
    ]
    evidence = Evidence(used, threshold_mm, rated_lift_mm, bench)
    if found and not used:
        evidence.nothing = "no cycle was wanted or ran without the heater"
    trust = findings(record, evidence)
    reasons = spoiled(trust)
    quantities = {
        name: unknown(reasons[name], quantity.at) if name in reasons else quantity
        for name, quantity in _quantities(evidence, hysteresis_lift_mm).items()
    } | heated.quantities
    series = {
        "hysteresis_at_k": tuple(hysteresis_quantity(evidence, x) for x in HYSTERESIS_LIFTS_MM),
        "temperature_at_c": tuple(temperature_at_quantity(evidence, x) for x in at_lifts_mm),
        "lift_at_mm": tuple(lift_at_quantity(evidence, x) for x in at_baths_c),
        "start_under_power_c": heated.starts,
        "closing_under_power_c": heated.closings,
    }
    warned += _warnings(found, quantities) + heated.warnings
    warned += [finding.warned() for finding in trust]
    return CurveResult(
        record.name,
        threshold_mm,
        quantities,
        series,
        tuple(_cycle_result(c) for c in found),
        tuple(warned),
        heated.steps,
    )


def _quantities(evidence: Evidence, hysteresis_lift_mm: float | None) -> dict[str, Quantity]:
    at_mm = hysteresis_lift_mm or (
        evidence.rated_lift_mm / 2 if evidence.rated_lift_mm else DEFAULT_HYSTERESIS_LIFT_MM
    )
    return {
        "start_to_open_c": _start(evidence),
        "full_open_c": _full_open(evidence),
        "full_lift_mm": full_lift_quantity(evidence),
        "closing_c": _closing(evidence),
        "hysteresis_k": hysteresis_quantity(evidence, at_mm),
        "zero_return_mm": zero_return_quantity(evidence),
        "lag_s": _lag(evidence),
        "start_by_line_c": _start_by_line(evidence),
        "repeatability_k": _repeatability(evidence),
    }


def _start(evidence: Evidence) -> Quantity:
    events = [c.start for c in evidence.cycles if c.start]
    if not events:
        return unknown(evidence.reason("start_to_open_c"), {"lift_mm": evidence.threshold_mm})
    return rising_quantity(evidence, evidence.threshold_mm, events)


def _full_open(evidence: Evidence) -> Quantity:
    if evidence.rated_lift_mm is None:
        return unknown("no rated lift was stated; give one")
    events = [c.full_open for c in evidence.cycles if c.full_open]
    if not events:
        return unknown(evidence.reason("full_open_c"), {"lift_mm": evidence.rated_lift_mm})
    return rising_quantity(evidence, evidence.rated_lift_mm, events)


def _closing(evidence: Evidence) -> Quantity:
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
        [Contribution("lag fit", lag.u_s, note=f"from {lag.source}"), probe],
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


def _warnings(found: Sequence[CycleFeatures], quantities: dict[str, Quantity]) -> list[Warned]:
    warned = []
    if not found:
        warned.append(Warned("no_cycle", "the bath moved less than 3 K; nothing can be read"))
    start = quantities["start_to_open_c"]
    lag = next((c for c in start.contributions if c.name == "lag"), None)
    if lag and "two rates" not in lag.note and "relaxation" not in lag.note:
        warned.append(
            Warned(
                "lag_from_prior",
                "one ramp rate and no usable top hold: the lag is a prior's or the type's;"
                " run two rates or hold 5 min at the top",
            )
        )
    return warned


def _cycle_result(features: CycleFeatures) -> CycleResult:
    start, closing, zero = features.start, features.closing, features.zero
    full, back = features.full_lift, features.zero_return
    return CycleResult(
        float(features.rising.t_s[0] if features.cycle.rises else features.falling.t_s[0]),
        start.bath_c if start else None,
        start.rate_k_per_min if start else None,
        features.start_by_line_c,
        features.full_open.bath_c if features.full_open else None,
        full.lift_mm if full else None,
        closing.bath_c if closing else None,
        closing.rate_k_per_min if closing else None,
        zero.level_mm if zero else None,
        zero.slope_mm_per_k if zero else None,
        back.lift_mm if back else None,
        features.reasons,
    )
