"""From one unit's record to its result: the analysis' front door."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from proofbath.curve.bench_budget import BenchBudget
from proofbath.curve.blank import SLOPE_LEFT_MM_PER_K, Blank
from proofbath.curve.branches import cycles_of
from proofbath.curve.cycles import features_of_cycles
from proofbath.curve.evidence import Evidence
from proofbath.curve.features import CycleFeatures, Wanted
from proofbath.curve.heated import Heated, heated_of
from proofbath.curve.opened import opened_of
from proofbath.curve.quantities import (
    hysteresis_quantity,
    lift_at_quantity,
    opening_quantities,
    temperature_at_quantity,
)
from proofbath.curve.record import CurveRecord
from proofbath.curve.result import CurveResult, CycleResult, Quantity, Warned, unknown
from proofbath.curve.samples import reduce
from proofbath.curve.summary import named_quantities
from proofbath.curve.trust import (
    TEMPERATURES,
    Finding,
    findings,
    open_at_first_bath,
    spoiled,
)
from proofbath.curve.trust_heater import powered_findings
from proofbath.errors import InputError
from proofbath.quantity.levels import OPENING

HYSTERESIS_LIFTS_MM = (0.5, 1.0, 2.0, 4.0, 6.0, 8.0)
NO_BUDGET = Warned(
    "no_bench_budget",
    "probe, gradient, gauge and pooled repeatability uncertainties were not supplied;"
    " U covers only what the file shows; give a bench file",
)


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
    element_ohm: float | None = None,
) -> CurveResult:
    """Return what a record says about its unit; temperatures in °C at zero rate, lifts in mm.

    `threshold_mm` defines start-to-open and closing, `rated_lift_mm` full-open; `blank` is the
    station's blank curve; `cycles` picks cycles by number from 0 (all by default);
    `at_lifts_mm` and `at_baths_c` ask for further temperatures and lifts of the rising branch;
    `element_ohm` is the resistance usual for the type's heater, to tell a wrong supply by.
    What the record does not support is None with its reason.
    Raises InputError for impossible arguments, RecordError for an unusable record.
    """
    wanted = _wanted(threshold_mm, rated_lift_mm, blank)
    bench = bench_budget or BenchBudget()
    samples, warned = reduce(record, bench.probe_lag_s or 0.0)
    if bench_budget is None:
        warned.append(NO_BUDGET)
    parts = cycles_of(samples)
    opened = opened_of(samples, parts, record.cold)
    refused = [opened.refused(samples, part.first) for part in parts]
    if blank is not None:
        samples = blank.taken_off(samples, parts)
    heated = heated_of(samples, bench, wanted, opened)
    parts = [heated.unpowered(samples, part) for part in parts]
    found = features_of_cycles(samples, parts, wanted, refused)
    evidence = _evidence(found, cycles, heated, wanted, bench)
    trust = _trust(record, evidence, heated, bench, element_ohm) + open_at_first_bath(opened)
    reasons = spoiled(trust)
    named = named_quantities(evidence, hysteresis_lift_mm) | heated.quantities
    quantities = _unspoiled(named, reasons)
    series = _series(evidence, at_lifts_mm, at_baths_c)
    if reasons.keys() & TEMPERATURES:
        series = dict.fromkeys(series, ())
    if "unpowered_start_to_open_c" in reasons:
        heated = heated.without_lifts(reasons["unpowered_start_to_open_c"])
    series |= heated.all_series
    warned += _warnings(evidence, found, quantities) + heated.warnings
    return CurveResult(
        record.name,
        threshold_mm,
        quantities,
        series,
        tuple(_cycle_result(c) for c in found),
        (*warned, *(finding.warned() for finding in trust)),
        heated.steps,
    )


def _wanted(threshold_mm: float, rated_lift_mm: float | None, blank: Blank | None) -> Wanted:
    if not 0.01 <= threshold_mm <= 5.0:
        raise InputError(f"threshold {threshold_mm:g} mm: 0.01 to 5 mm can be told; give another")
    if rated_lift_mm is not None and not threshold_mm < rated_lift_mm <= 25.0:
        raise InputError(f"rated lift {rated_lift_mm:g} mm: more than the threshold, at most 25 mm")
    if blank is None:
        return Wanted(threshold_mm, rated_lift_mm)
    return Wanted(threshold_mm, rated_lift_mm, SLOPE_LEFT_MM_PER_K)


def _evidence(
    found: Sequence[CycleFeatures],
    cycles: Sequence[int] | None,
    heated: Heated,
    wanted: Wanted,
    bench: BenchBudget,
) -> Evidence:
    """Collect the cycles that were wanted and ran without the heater."""
    used = [
        features
        for number, features in enumerate(found)
        if (cycles is None or number in cycles) and not heated.heats(features)
    ]
    evidence = Evidence(used, wanted.threshold_mm, wanted.rated_lift_mm, bench)
    if found and not used:
        evidence.nothing = "no cycle was wanted or ran without the heater"
    return evidence


def _trust(
    record: CurveRecord,
    evidence: Evidence,
    heated: Heated,
    bench: BenchBudget,
    element_ohm: float | None,
) -> list[Finding]:
    """Return the signatures of the unpowered cycles and of the powered ones, each code once."""
    found = findings(record, evidence)
    if heated.power_w is None:
        return found
    ohm, shift = heated.quantities["heater_ohm"], heated.quantities["shift_k_per_w"]
    under_power = powered_findings(record, heated.cycles, ohm, shift, bench, element_ohm)
    codes = {finding.code for finding in found}
    return found + [finding for finding in under_power if finding.code not in codes]


def _unspoiled(named: dict[str, Quantity], reasons: Mapping[str, str]) -> dict[str, Quantity]:
    """Return the quantities, unknown by its reason each that a finding spoils."""
    return {
        name: unknown(reasons[name], quantity.at) if name in reasons else quantity
        for name, quantity in named.items()
    }


def _series(
    evidence: Evidence, at_lifts_mm: Sequence[float], at_baths_c: Sequence[float]
) -> dict[str, tuple[Quantity, ...]]:
    return {
        OPENING: opening_quantities(evidence),
        "hysteresis_at_k": tuple(hysteresis_quantity(evidence, x) for x in HYSTERESIS_LIFTS_MM),
        "temperature_at_c": tuple(temperature_at_quantity(evidence, x) for x in at_lifts_mm),
        "lift_at_mm": tuple(lift_at_quantity(evidence, x) for x in at_baths_c),
    }


def _warnings(
    evidence: Evidence, found: Sequence[CycleFeatures], quantities: dict[str, Quantity]
) -> list[Warned]:
    warned = []
    if not found:
        warned.append(Warned("no_cycle", "the bath moved less than 3 K; nothing can be read"))
    starts = [c.start for c in evidence.cycles if c.start]
    known = quantities["start_to_open_c"].value is not None
    if known and not evidence.rising_at_zero_rate(evidence.threshold_mm, starts).lag.measured:
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
