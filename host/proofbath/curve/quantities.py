"""From a unit's cycles to its quantities: means at zero rate, each with its budget."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

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

FALLING_LAG_RELATIVE_U = 0.10  # rising and falling lags agree within 10 % on the element model
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


def lift_quantity(
    evidence: Evidence,
    name: str,
    reading: Callable[[CycleFeatures], Reading | None],
    rate: str | None = None,
) -> Quantity:
    """Return the mean of a lift read in each cycle: full lift, zero return."""
    readings = [r for c in evidence.cycles if (r := reading(c)) is not None]
    if not readings:
        reasons = [c.reasons[name] for c in evidence.cycles if name in c.reasons]
        other = [text for c in evidence.cycles for text in c.reasons.values()]
        return unknown((reasons or other or ["no cycle shows it"])[0])
    values = np.array([r.lift_mm for r in readings])
    bench, count = evidence.bench, len(values)
    zero_mm = float(np.mean([c.zero.u_mm(c.zero.at_c + 15) for c in evidence.cycles if c.zero]))
    mean = float(values.mean())
    scale = None if bench.gauge_relative is None else bench.gauge_relative * abs(mean)
    spread = Contribution("cycle scatter", None, note="one cycle shows none")
    if count > 1:
        sd = float(np.std(values, ddof=1))
        spread = Contribution("cycle scatter", sd, 1 / math.sqrt(count), count - 1.0, "A")
    contributions = [
        Contribution("gauge", bench.gauge_mm),
        Contribution("gauge scale", scale),
        Contribution("lift zero", zero_mm, 1.0, 30.0, "A"),
        Contribution("reading noise", float(np.mean([r.u_mm for r in readings])), 1.0, 20.0, "A"),
        spread,
    ]
    return known(mean, contributions, rate)
