"""All that is known of one unit when its quantities are formed: cycles, lag, repeatability."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from proofbath.curve.bench_budget import PRIOR_REPEATABILITY_K, BenchBudget, steadied
from proofbath.curve.budget import Contribution
from proofbath.curve.features import Branch, CycleFeatures, Event
from proofbath.curve.lag import (
    PRIOR_LAG_S,
    PRIOR_LAG_SD_S,
    PRIOR_SLOPE,
    Lag,
    LagSource,
    ZeroRate,
    at_lift,
    combine_lags,
    lag_from_top,
    zero_rate,
)

# Normal scatters whose sd spreads evenly from 0.05 to 0.2 K over units: 95 % lie within 2.07 of
# their common sd, which is Student's factor of 23 degrees of freedom.
BETWEEN_UNITS_DOF = 23.0


def scatter_dof(pooled_dof: float) -> float:
    """However well a type's mean scatter is known, a unit's own differs from it."""
    return 1 / (1 / pooled_dof + 1 / BETWEEN_UNITS_DOF)


def lag_beforehand(bench: BenchBudget, start_slope_mm_per_k: float) -> Lag:
    """Return the type's pooled lag, or the marked prior where the bench states none."""
    if bench.type_lag_s is None:
        prior = Lag(PRIOR_LAG_S, PRIOR_LAG_SD_S, (LagSource.PRIOR,))
        return at_lift(prior, PRIOR_SLOPE, start_slope_mm_per_k)
    return Lag(bench.type_lag_s, bench.type_lag_sd_s or PRIOR_LAG_SD_S, (LagSource.TYPE,))


@dataclass
class Evidence:
    """The used cycles of one unit and what is known beforehand; the source of every quantity."""

    cycles: Sequence[CycleFeatures]
    threshold_mm: float
    rated_lift_mm: float | None
    bench: BenchBudget
    nothing: str = "no cycle: the bath moved less than 3 K"
    elsewhere: Sequence[CycleFeatures] = ()
    """Cycles of the same unit under other currents: how they relax tells of its lag too."""
    known_lag: Lag = field(init=False)
    start_slope_mm_per_k: float = field(init=False)
    cycle_sd_k: float = field(init=False)
    repeatability: Contribution = field(init=False)
    top_lags: list[Lag] = field(init=False)
    _branches: dict[bool, list[Branch]] = field(init=False, repr=False)
    _events: dict[tuple[float, bool], list[Event | None]] = field(default_factory=dict, repr=False)

    def __post_init__(self) -> None:
        shut = [(c, c.zero) for c in self.cycles if c.zero is not None]
        self._branches = {
            True: [Branch(c.rising, zero, True) for c, zero in shut],
            False: [Branch(c.falling, zero, False) for c, zero in shut],
        }
        starts = [c.start for c in self.cycles if c.start]
        slopes = [s.lift_slope_mm_per_k for s in starts if math.isfinite(s.lift_slope_mm_per_k)]
        self.start_slope_mm_per_k = max(float(np.mean(slopes)), 0.05) if slopes else PRIOR_SLOPE
        self.known_lag = self._known_lag()
        pooled = self.bench.pooled_repeatability()
        self.cycle_sd_k = pooled[0] if pooled else PRIOR_REPEATABILITY_K
        self.repeatability = self._repeatability(starts, pooled)

    def _known_lag(self) -> Lag:
        """Combine the type's lag (or the marked prior) with the unit's own top holds."""
        lags = [lag_beforehand(self.bench, self.start_slope_mm_per_k)]
        seen = (*self.cycles, *self.elsewhere)
        tops = [lag_from_top(c, self.start_slope_mm_per_k) for c in seen]
        self.top_lags = own = [lag for lag in tops if lag is not None]
        if own:
            mean_s = float(np.mean([lag.lag_s for lag in own]))
            lags.append(Lag(mean_s, float(np.mean([lag.u_s for lag in own])), own[0].sources))
        return combine_lags(lags)

    def _repeatability(
        self, starts: Sequence[Event], pooled: tuple[float, float] | None
    ) -> Contribution:
        if pooled:
            freedom = scatter_dof(pooled[1])
            note = "pooled over units and nights; units differ in scatter"
            return Contribution("cycle repeatability", pooled[0], 1.0, freedom, "A", note)
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
        return [event for event in self._each_event(lift_mm, True) if event is not None]

    def event_pairs(self, lift_mm: float) -> list[tuple[Event, Event]]:
        """Return the rising and the falling event of each cycle that has both."""
        both = zip(self._each_event(lift_mm, True), self._each_event(lift_mm, False), strict=True)
        return [(up, down) for up, down in both if up is not None and down is not None]

    def _each_event(self, lift_mm: float, upward: bool) -> list[Event | None]:
        if (lift_mm, upward) not in self._events:
            found = [branch.event(lift_mm) for branch in self._branches[upward]]
            events = [None if isinstance(event, str) else event for event in found]
            self._events[lift_mm, upward] = events
        return self._events[lift_mm, upward]

    def largest_lift_mm(self) -> float:
        """Return a lift that every cycle with a zero passes while the bath still rises."""
        shut = [c.cycle for c in self.cycles if c.zero is not None]
        tops = [
            float(np.max(branch.lift_mm[: cycle.top - cycle.first]))
            for cycle, branch in zip(shut, self._branches[True], strict=True)
            if cycle.top > cycle.first
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
            Contribution("lift zero", zero_mm, per_k, 30.0, "A", self.zero_note()),
            Contribution("change between nights", bench.night_k),
        ]

    def zero_note(self) -> str:
        """Return how the zero was found, in words."""
        notes = [c.zero.note for c in self.cycles if c.zero]
        return notes[-1] if notes else ""

    def reason(self, name: str) -> str:
        """Return why no cycle shows a reading: its own reason, or that of the missing start."""
        if not self.cycles:
            return self.nothing
        for wanted in (name, "start_to_open_c"):
            reasons = [c.reasons[wanted] for c in self.cycles if wanted in c.reasons]
            if reasons:
                return reasons[0]
        return "no cycle shows it"
