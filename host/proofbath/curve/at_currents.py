"""Bath ramps at a set current: where a unit opens, is fully open and closes while it is heated.

Each is found as without current, by the same cycles, lag and budget; only the current is stated.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from proofbath.curve.bench_budget import BenchBudget
from proofbath.curve.branches import SMALLEST_SWING_K, Cycle, cycles_of
from proofbath.curve.budget import Contribution
from proofbath.curve.cycles import features_of_cycles
from proofbath.curve.drive import NOMINAL_K_PER_W
from proofbath.curve.evidence import Evidence
from proofbath.curve.features import Event, Wanted
from proofbath.curve.holds import Hold, holds_of
from proofbath.curve.opened import Opened
from proofbath.curve.record import Floats
from proofbath.curve.result import Quantity, known, unknown
from proofbath.curve.samples import Samples
from proofbath.curve.summary import closing_quantity, full_open_quantity, start_quantity

SAME_CURRENT, SAME_CURRENT_A = 0.02, 0.005
NAMES = ("start_at_current_c", "full_open_at_current_c", "closing_at_current_c")


@dataclass(frozen=True)
class RampsAtCurrent:
    """The bath's cycles run at one current, cut to where it was held."""

    element_a: float
    cycles: tuple[Cycle, ...]


def same_current(one_a: float, other_a: float) -> bool:
    """Tell whether two currents read are one current set."""
    return abs(one_a - other_a) <= max(SAME_CURRENT * one_a, SAME_CURRENT_A)


def ramps_at_currents(samples: Samples) -> list[RampsAtCurrent]:
    """Return the bath ramps of at least 3 K at each current, in the order of the currents."""
    parts = cycles_of(samples)
    found: list[tuple[float, Cycle]] = []
    for hold in holds_of(samples):
        if hold.powered:
            cut = [_within(samples, cycle, hold) for cycle in parts]
            found += [(hold.element_a, cycle) for cycle in cut if cycle is not None]
    groups: list[list[tuple[float, Cycle]]] = []
    for amps, cycle in sorted(found, key=lambda pair: (pair[0], pair[1].first)):
        if groups and same_current(amps, groups[-1][0][0]):
            groups[-1].append((amps, cycle))
        else:
            groups.append([(amps, cycle)])
    return [
        RampsAtCurrent(
            float(np.mean([amps for amps, _ in group])),
            tuple(sorted((cycle for _, cycle in group), key=lambda cycle: cycle.first)),
        )
        for group in groups
    ]


def _within(samples: Samples, cycle: Cycle, hold: Hold) -> Cycle | None:
    """Cut a cycle to a hold; None where too little of either branch is left."""
    first, end = max(cycle.first, hold.first), min(cycle.end, hold.end)
    if end - first < 5 or np.ptp(samples.bath_c[first:end]) < SMALLEST_SWING_K:
        return None
    top, fall = (min(max(place, first), end) for place in (cycle.top, cycle.fall))
    if not cycle.rises:
        top = fall = first
    return Cycle(first, top, fall, end, cycle.cut or end < cycle.end)


def unpowered_part(samples: Samples, cycle: Cycle, power_w: Floats, on_w: float) -> Cycle:
    """Cut a cycle before its first power, where at least 3 K of rise ran without; else as it is."""
    on = np.flatnonzero(power_w[cycle.first : cycle.end] > on_w)
    if not len(on):
        return cycle
    end = cycle.first + int(on[0])
    rise = samples.bath_c[cycle.first : min(end, cycle.fall)]
    if not cycle.rises or len(rise) < 5 or np.ptp(rise) < SMALLEST_SWING_K:
        return cycle
    return Cycle(cycle.first, min(cycle.top, end), min(cycle.fall, end), end, True)


def at_current_series(
    samples: Samples, power_w: Floats, wanted: Wanted, bench: BenchBudget, opened: Opened
) -> dict[str, tuple[Quantity, ...]]:
    """Return opening, full opening and closing at each current by their JSON names.

    All ramps of a record share one zero; `power_w` is what the element took per sample.
    """
    ramps = ramps_at_currents(samples)
    cycles = [cycle for ramp in ramps for cycle in ramp.cycles]
    refused = [opened.refused(samples, cycle.first) for cycle in cycles]
    found = features_of_cycles(samples, cycles, wanted, refused)
    features = dict(zip(cycles, found, strict=True))
    series: dict[str, list[Quantity]] = {name: [] for name in NAMES}
    for ramp in ramps:
        mine = [features[cycle] for cycle in ramp.cycles]
        others = [found for cycle, found in features.items() if cycle not in ramp.cycles]
        evidence = Evidence(
            mine, wanted.threshold_mm, wanted.rated_lift_mm, bench, elsewhere=others
        )
        events = (
            [f.start for f in mine],
            [f.full_open for f in mine],
            [f.closing for f in mine],
        )
        formed = (start_quantity, full_open_quantity, closing_quantity)
        for name, form, where in zip(NAMES, formed, events, strict=True):
            if name == "full_open_at_current_c" and wanted.rated_lift_mm is None:
                continue
            quantity = form(evidence)
            series[name].append(_at_current(samples, power_w, ramp, quantity, where, bench))
    return {name: tuple(items) for name, items in series.items()}


def _at_current(
    samples: Samples,
    power_w: Floats,
    ramp: RampsAtCurrent,
    quantity: Quantity,
    events: Sequence[Event | None],
    bench: BenchBudget,
) -> Quantity:
    """State a quantity for its current, with the power there and what the current adds to U."""
    at = {**quantity.at, "element_a": round(ramp.element_a, 4)}
    if quantity.value is None:
        run = np.concatenate([power_w[cycle.first : cycle.end] for cycle in ramp.cycles])
        return unknown(quantity.reason or "", {**at, "power_w": round(float(run.mean()), 3)})
    times = [event.t_s for event in events if event is not None]
    watts = float(np.mean(np.interp(times, samples.t_s, power_w)))
    power_k = None if bench.power_relative is None else bench.power_relative * watts
    power = Contribution("current and power", power_k, NOMINAL_K_PER_W)
    contributions = [*quantity.contributions, power]
    return known(quantity.value, contributions, quantity.rate, {**at, "power_w": round(watts, 3)})
