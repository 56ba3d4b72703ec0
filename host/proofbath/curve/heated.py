"""A record with element currents: what the heater does, and what the unit does without it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from proofbath.curve.at_currents import NAMES, at_current_series, unpowered_part
from proofbath.curve.bench_budget import BenchBudget
from proofbath.curve.branches import Cycle, cycles_of
from proofbath.curve.budget import Contribution
from proofbath.curve.drive import (
    PoweredEvent,
    driven_by,
    element_power_w,
    powered_events,
)
from proofbath.curve.features import CycleFeatures, Wanted
from proofbath.curve.opened import Opened
from proofbath.curve.record import Floats
from proofbath.curve.result import HeaterStep, Quantity, Warned, known, unknown
from proofbath.curve.samples import Samples
from proofbath.curve.shut import Shut, driven_features, shut_of
from proofbath.curve.steps import heater_steps
from proofbath.curve.unpowered import unpowered_quantities
from proofbath.curve.zero import UNKNOWN_SLOPE_MM_PER_K, Zero, always_shut, fit_zero

NOT_POWERED = "the record holds no element currents"
SERIES = ("start_under_power_c", "closing_under_power_c", *NAMES)
ON_W = 0.05
LEAD_PRIOR_OHM, LEAD_PRIOR_U_OHM = 0.3, 0.12  # common practice, no source: 0.1 to 0.5 ohm


@dataclass(frozen=True)
class Heated:
    """Quantities, events and steps of the heater; all null where no current flowed."""

    quantities: dict[str, Quantity]
    series: Mapping[str, tuple[Quantity, ...]] = field(
        default_factory=lambda: dict.fromkeys(SERIES, ())
    )
    steps: tuple[HeaterStep, ...] = ()
    warnings: list[Warned] = field(default_factory=list)
    power_w: Floats | None = None
    cycles: tuple[CycleFeatures, ...] = ()

    @property
    def all_series(self) -> dict[str, tuple[Quantity, ...]]:
        """The series under power by their JSON names, the lifts of the steps among them."""
        return {
            **self.series,
            "lift_at_current_mm": tuple(step.steady_lift for step in self.steps),
            "lift_after_mm": tuple(lift for step in self.steps for lift in step.lifts_after),
        }

    def heats(self, features: CycleFeatures) -> bool:
        """Tell whether the heater was on in a cycle."""
        cycle, power_w = features.cycle, self.power_w
        return power_w is not None and bool((power_w[cycle.first : cycle.end] > ON_W).any())

    def unpowered(self, samples: Samples, cycle: Cycle) -> Cycle:
        """Return what of a cycle ran before its first power, where that is a rise to read."""
        return cycle if self.power_w is None else unpowered_part(samples, cycle, self.power_w, ON_W)

    def without_lifts(self, reason: str) -> Heated:
        """Return it without what was read from a lift that is not to be trusted."""
        steps = [step.without_lifts(reason) for step in self.steps]
        return replace(self, series=dict.fromkeys(SERIES, ()), steps=tuple(steps))


def heated_of(samples: Samples, bench: BenchBudget, wanted: Wanted, opened: Opened) -> Heated:
    """Return everything a record shows under power."""
    threshold_mm = wanted.threshold_mm
    lead_ohm = LEAD_PRIOR_OHM if bench.lead_ohm is None else bench.lead_ohm
    power_w = element_power_w(samples, lead_ohm)
    names = ("unpowered_start_to_open_c", "shift_k_per_w", "heater_ohm")
    if power_w is None:
        return Heated({name: unknown(NOT_POWERED) for name in names})
    driven = driven_by(samples, power_w)
    shut = shut_of(samples, driven, cycles_of(driven), threshold_mm, opened)
    rising, reasons = powered_events(samples, power_w, threshold_mm, shut)
    falling, _ = powered_events(samples, power_w, threshold_mm, shut, upward=False)
    start, shift, warned = unpowered_quantities(rising, reasons, bench, threshold_mm)
    if bench.lead_ohm is None:
        text = f"the leads were taken as {LEAD_PRIOR_OHM:g} ohm; powers are uncertain by about 1 %"
        warned.append(Warned("leads_not_supplied", text))
    ohm = _resistance(samples, power_w, lead_ohm, bench)
    quantities = dict(zip(names, (start, shift, ohm), strict=True))
    zero = None if isinstance(shut, str) else shut.zero
    counted = _counted_from(samples, shut, threshold_mm, opened)
    steps = tuple(heater_steps(samples, counted, bench, lead_ohm, threshold_mm))
    series = {
        "start_under_power_c": _shown(rising, bench, threshold_mm),
        "closing_under_power_c": _shown(falling, bench, threshold_mm),
        **at_current_series(samples, power_w, wanted, bench, opened),
    }
    zeroed = driven if isinstance(shut, str) else shut.zeroed
    cycles = tuple(driven_features(zeroed, zero))
    return Heated(quantities, series, steps, warned, power_w, cycles)


def _counted_from(
    samples: Samples, shut: Shut | str, threshold_mm: float, opened: Opened
) -> Zero | str:
    """Return the zero that lifts count from: a valve that never opened shows its own throughout."""
    if not isinstance(shut, str):
        return shut.zero
    if opened.at_first_bath_mm is not None:
        return shut
    if not always_shut(samples.bath_c, samples.lift_mm, threshold_mm):
        return shut
    span_k = float(np.ptp(samples.bath_c))
    return fit_zero(samples.bath_c, samples.lift_mm, span_k, UNKNOWN_SLOPE_MM_PER_K)


def _shown(
    events: Sequence[PoweredEvent], bench: BenchBudget, threshold_mm: float
) -> tuple[Quantity, ...]:
    """Bath temperatures of the threshold at the powers they were read at, not at zero rate."""
    return tuple(
        known(
            event.bath_c,
            [
                Contribution("bath probe", bench.probe_k, 1.0, bench.probe_dof or math.inf),
                Contribution("bath gradient", bench.gradient_k),
                Contribution("cycle repeatability", bench.repeatability_k),
                Contribution("crossing noise", event.noise_u_k, 1.0, 20.0, "A"),
            ],
            60 * event.bath_rate_k_per_s,
            {
                "lift_mm": threshold_mm,
                "power_w": event.power_w,
                "power_rate_w_per_min": round(60 * event.power_rate_w_per_s, 4) + 0.0,
            },
        )
        for event in events
    )


def _resistance(samples: Samples, power_w: Floats, lead_ohm: float, bench: BenchBudget) -> Quantity:
    """Mean resistance of the element while it takes at least a quarter of its largest power."""
    on = power_w > max(0.25 * float(power_w.max()), ON_W)
    ohms = np.asarray(samples.element_v)[on] / np.asarray(samples.element_a)[on] - lead_ohm
    mean = float(ohms.mean())
    scale = None if bench.power_relative is None else bench.power_relative * mean
    contributions = [
        Contribution("current and voltage", scale),
        Contribution("leads", LEAD_PRIOR_U_OHM if bench.lead_ohm is None else 0.02),
        Contribution("noise", float(ohms.std()) / math.sqrt(len(ohms)), 1.0, 30.0, "A"),
    ]
    return known(mean, contributions, None, {"bath_c": float(samples.bath_c[on].mean())})
