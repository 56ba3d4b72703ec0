"""From a unit's cycles to its quantities: means at zero rate, each with its budget."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import brentq

from proofbath.curve.bench_budget import BenchBudget, steadied
from proofbath.curve.budget import Contribution
from proofbath.curve.features import Branch, CycleFeatures, Event, Reading
from proofbath.curve.lag import (
    PRIOR_LAG_S,
    PRIOR_LAG_SD_S,
    Lag,
    ZeroRate,
    at_lift,
    combine_lags,
    lag_from_top,
    zero_rate,
)
from proofbath.curve.result import Quantity, known, unknown

FALLING_LAG_RELATIVE_U = 0.058  # rising and falling lags agree within 10 % on the element model
HYSTERESIS_SCATTER_K, HYSTERESIS_SCATTER_DOF = 0.02, 4.0
DEFAULT_HYSTERESIS_LIFT_MM = 1.0
SMALLEST_CYCLE_SD_K = 0.13


@dataclass
class Evidence:
    """The used cycles of one unit and what is known beforehand; the source of every quantity."""

    cycles: Sequence[CycleFeatures]
    threshold_mm: float
    rated_lift_mm: float | None
    bench: BenchBudget
    nothing: str = "no cycle: the bath moved less than 3 K"
    known_lag: Lag = field(init=False)
    start_slope_mm_per_k: float = field(init=False)
    cycle_sd_k: float = field(init=False)
    repeatability: Contribution = field(init=False)

    def __post_init__(self) -> None:
        starts = [c.start for c in self.cycles if c.start]
        slopes = [s.lift_slope_mm_per_k for s in starts if math.isfinite(s.lift_slope_mm_per_k)]
        self.start_slope_mm_per_k = max(float(np.mean(slopes)), 0.05) if slopes else 0.35
        self.known_lag = self._known_lag()
        pooled = self.bench.pooled_repeatability()
        self.cycle_sd_k = pooled[0] if pooled else SMALLEST_CYCLE_SD_K
        self.repeatability = self._repeatability(starts, pooled)

    def _known_lag(self) -> Lag:
        """Combine the type's lag (or the marked prior) with the unit's own top holds."""
        bench = self.bench
        if bench.type_lag_s is not None:
            sd_s = bench.type_lag_sd_s or PRIOR_LAG_SD_S
            lags = [Lag(bench.type_lag_s, sd_s, "the type's pooled lag")]
        else:
            lags = [Lag(PRIOR_LAG_S, PRIOR_LAG_SD_S, "a prior for wax elements")]
        tops = [lag_from_top(c, self.start_slope_mm_per_k) for c in self.cycles]
        own = [lag for lag in tops if lag is not None]
        if own:
            mean_s = float(np.mean([lag.lag_s for lag in own]))
            lags.append(Lag(mean_s, float(np.mean([lag.u_s for lag in own])), own[0].source))
        return combine_lags(lags)

    def _repeatability(
        self, starts: Sequence[Event], pooled: tuple[float, float] | None
    ) -> Contribution:
        if pooled:
            sd_k, freedom = pooled
            return Contribution(
                "cycle repeatability", sd_k, 1.0, freedom, "A", "pooled over units and nights"
            )
        if len(starts) < 2:
            note = "one cycle shows none; give a bench file"
            return Contribution("cycle repeatability", None, note=note)
        at_zero = [s.bath_c - s.lag_rate_k_per_min / 60 * self.known_lag.lag_s for s in starts]
        own_dof = float(len(starts) - 1)
        sd_k, freedom = steadied(float(np.std(at_zero, ddof=1)), own_dof)
        self.cycle_sd_k = sd_k
        note = "this record's cycles, steadied by a prior of 0.13 K with 6 degrees of freedom"
        return Contribution("cycle repeatability", sd_k, 1.0, freedom, "A", note)

    def rising_events(self, lift_mm: float) -> list[Event]:
        """Return where the cycles' rising branches pass a lift."""
        return _events(self.cycles, lift_mm, upward=True)

    def falling_events(self, lift_mm: float) -> list[Event]:
        """Return where the cycles' falling branches pass a lift."""
        return _events(self.cycles, lift_mm, upward=False)

    def largest_lift_mm(self) -> float:
        """Return a lift that every cycle with a zero passes while the bath still rises."""
        tops = [
            float(np.max(branch.lift_mm[: c.cycle.top - c.cycle.first]))
            for c in self.cycles
            if c.zero is not None and c.cycle.top > c.cycle.first
            for branch in [Branch(c.rising, c.zero, True)]
        ]
        return 0.98 * min(tops) if tops else 0.0

    def rising_at_zero_rate(self, lift_mm: float, events: Sequence[Event]) -> ZeroRate:
        """Return the rising temperature of a lift at zero rate from events of that lift."""
        slope = float(np.mean([event.lift_slope_mm_per_k for event in events]))
        lag = self.known_lag
        if lift_mm != self.threshold_mm and math.isfinite(slope):
            lag = at_lift(lag, self.start_slope_mm_per_k, slope)
        return zero_rate(events, lag, self.cycle_sd_k)

    def bench_part(self, lift_mm: float, events: Sequence[Event]) -> list[Contribution]:
        """Return what probe, gradient, gauge and night bring to a temperature at a lift."""
        bench = self.bench
        per_k = 1 / max(abs(float(np.mean([e.lift_slope_mm_per_k for e in events]))), 0.02)
        zeros = [c.zero.u_mm(e.bath_c) for c, e in zip(self.cycles, events, strict=False) if c.zero]
        zero_mm = float(np.mean(zeros)) if zeros else 0.0
        probe_dof = bench.probe_dof or math.inf
        gauge_mm = None if bench.gauge_relative is None else bench.gauge_relative * lift_mm
        return [
            Contribution("bath probe", bench.probe_k, 1.0, probe_dof),
            Contribution("bath gradient", bench.gradient_k),
            Contribution("gauge", bench.gauge_mm, per_k),
            Contribution("gauge scale", gauge_mm, per_k),
            Contribution("lift zero", zero_mm, per_k, 30.0, "A", _zero_note(self.cycles)),
            Contribution("change between nights", bench.night_k),
        ]


def _events(cycles: Sequence[CycleFeatures], lift_mm: float, upward: bool) -> list[Event]:
    found = []
    for c in cycles:
        if c.zero is not None:
            branch = Branch(c.rising if upward else c.falling, c.zero, upward)
            event = branch.event(lift_mm)
            if isinstance(event, Event):
                found.append(event)
    return found


def _zero_note(cycles: Sequence[CycleFeatures]) -> str:
    notes = [c.zero.note for c in cycles if c.zero]
    return notes[-1] if notes else ""


def rising_quantity(evidence: Evidence, lift_mm: float, events: Sequence[Event]) -> Quantity:
    """Return the rising temperature of a lift at zero rate with its budget."""
    found = evidence.rising_at_zero_rate(lift_mm, events)
    weight = math.sqrt(sum(w**2 for w in found.cycle_weights))
    repeat = evidence.repeatability
    contributions = [
        *evidence.bench_part(lift_mm, events),
        Contribution("crossing noise", found.noise_u_k, 1.0, 20.0, "A"),
        _scaled(repeat, weight),
        Contribution(
            "lag", found.known_lag_u_s, found.lag_weight_k_per_s, note=f"from {found.lag.source}"
        ),
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
        Contribution("lag", lag.u_s, rate, note=f"from {lag.source}"),
        Contribution("lag falling", FALLING_LAG_RELATIVE_U * lag.lag_s, rate),
    ]
    return known(value, contributions, "zero", {"lift_mm": lift_mm})


def temperature_at_quantity(evidence: Evidence, lift_mm: float) -> Quantity:
    """Return the rising bath temperature of any lift at zero rate."""
    events = evidence.rising_events(lift_mm)
    if not events:
        return unknown(f"no cycle passes {lift_mm:g} mm while rising", {"lift_mm": lift_mm})
    return rising_quantity(evidence, lift_mm, events)


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
    """Return rising minus falling temperature of a lift at zero rate; probe errors cancel."""
    at = {"lift_mm": lift_mm}
    rising, falling = evidence.rising_events(lift_mm), evidence.falling_events(lift_mm)
    if not rising or not falling:
        side = "rising" if not rising else "falling"
        return unknown(f"no cycle passes {lift_mm:g} mm while {side}", at)
    lag = evidence.rising_at_zero_rate(lift_mm, rising).lag
    pairs = list(zip(rising, falling, strict=False))
    differences = [up.bath_c - down.bath_c for up, down in pairs]
    rates = [(u.lag_rate_k_per_min - d.lag_rate_k_per_min) / 60 for u, d in pairs]
    at_zero = np.array(differences) - np.array(rates) * lag.lag_s
    rate, down_rate = float(np.mean(rates)), float(np.mean([d.lag_rate_k_per_min for d in falling]))
    count = len(pairs)
    scatter_k, freedom = _own_scatter(at_zero)
    noise = math.sqrt(sum(u.noise_u_k**2 + d.noise_u_k**2 for u, d in pairs)) / count
    bends = [abs(1 / u.lift_slope_mm_per_k - 1 / d.lift_slope_mm_per_k) for u, d in pairs]
    contributions = [
        Contribution("gauge", evidence.bench.gauge_mm, float(np.mean(bends))),
        Contribution("crossing noise", noise, 1.0, 20.0, "A"),
        Contribution("cycle scatter", scatter_k, 1 / math.sqrt(count), freedom, "A"),
        Contribution("lag", lag.u_s, rate, note=f"from {lag.source}"),
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
        return unknown(reason_of(evidence, "full_lift_mm"))
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
    """Return the mean zeroed lift after closing; the gauge's zero and scale do not enter."""
    readings = [c.zero_return for c in evidence.cycles if c.zero_return]
    if not readings:
        return unknown(reason_of(evidence, "zero_return_mm"))
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
    return Contribution("lift zero", zero_mm, 1.0, 30.0, "A", _zero_note(evidence.cycles))


def _noise_part(readings: Sequence[Reading]) -> Contribution:
    noise_mm = math.sqrt(sum(r.u_mm**2 for r in readings)) / len(readings)
    return Contribution("reading noise", noise_mm, 1.0, 20.0, "A")


def reason_of(evidence: Evidence, name: str) -> str:
    """Return why no cycle shows a reading: its own reason, or that of the missing start."""
    if not evidence.cycles:
        return evidence.nothing
    for wanted in (name, "start_to_open_c"):
        reasons = [c.reasons[wanted] for c in evidence.cycles if wanted in c.reasons]
        if reasons:
            return reasons[0]
    return "no cycle shows it"
