"""A record with element currents: what the heater does, and what the unit does without it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from proofbath.curve.bench_budget import BenchBudget
from proofbath.curve.branches import cycles_of
from proofbath.curve.budget import Contribution
from proofbath.curve.drive import (
    PoweredEvent,
    driven_by,
    element_power_w,
    heater_steps,
    powered_events,
)
from proofbath.curve.features import CycleFeatures
from proofbath.curve.record import Floats
from proofbath.curve.result import HeaterStep, Quantity, Warned, known, unknown
from proofbath.curve.samples import Samples
from proofbath.curve.shut import driven_features, shut_of
from proofbath.curve.unpowered import unpowered_quantities

NOT_POWERED = "the record holds no element currents"
ON_W = 0.05
LEAD_PRIOR_OHM, LEAD_PRIOR_U_OHM = 0.3, 0.12  # common practice, no source: 0.1 to 0.5 ohm


@dataclass(frozen=True)
class Heated:
    """Quantities, events and steps of the heater; all null where no current flowed."""

    quantities: dict[str, Quantity]
    starts: tuple[Quantity, ...] = ()
    closings: tuple[Quantity, ...] = ()
    steps: tuple[HeaterStep, ...] = ()
    warnings: list[Warned] = field(default_factory=list)
    power_w: Floats | None = None
    cycles: tuple[CycleFeatures, ...] = ()

    def heats(self, features: CycleFeatures) -> bool:
        """Tell whether the heater was on in a cycle."""
        cycle, power_w = features.cycle, self.power_w
        return power_w is not None and bool((power_w[cycle.first : cycle.end] > ON_W).any())

    def without_lifts(self, reason: str) -> Heated:
        """Return it without what was read from a lift that is not to be trusted."""
        steps = [
            replace(step, response_s={}, steady_lift_mm=None, reason=reason) for step in self.steps
        ]
        return replace(self, starts=(), closings=(), steps=tuple(steps))


def heated_of(samples: Samples, bench: BenchBudget, threshold_mm: float) -> Heated:
    """Return everything a record shows under power."""
    lead_ohm = LEAD_PRIOR_OHM if bench.lead_ohm is None else bench.lead_ohm
    power_w = element_power_w(samples, lead_ohm)
    names = ("unpowered_start_to_open_c", "shift_k_per_w", "heater_ohm")
    if power_w is None:
        return Heated({name: unknown(NOT_POWERED) for name in names})
    driven = driven_by(samples, power_w)
    shut = shut_of(samples, driven, cycles_of(driven), threshold_mm)
    rising, reasons = powered_events(samples, power_w, threshold_mm, shut)
    falling, _ = powered_events(samples, power_w, threshold_mm, shut, upward=False)
    start, shift, warned = unpowered_quantities(rising, reasons, bench, threshold_mm)
    if bench.lead_ohm is None:
        text = f"the leads were taken as {LEAD_PRIOR_OHM:g} ohm; powers are uncertain by about 1 %"
        warned.append(Warned("leads_not_supplied", text))
    ohm = _resistance(samples, power_w, lead_ohm, bench)
    quantities = dict(zip(names, (start, shift, ohm), strict=True))
    zero = None if isinstance(shut, str) else shut.zero
    steps = tuple(heater_steps(samples, zero, lead_ohm))
    starts, closings = _shown(rising, bench), _shown(falling, bench)
    zeroed = driven if isinstance(shut, str) else shut.zeroed
    cycles = tuple(driven_features(zeroed, zero))
    return Heated(quantities, starts, closings, steps, warned, power_w, cycles)


def _shown(events: Sequence[PoweredEvent], bench: BenchBudget) -> tuple[Quantity, ...]:
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
                "power_w": event.power_w,
                "power_rate_w_per_min": 60 * event.power_rate_w_per_s,
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
