"""Trust study: false alarms on healthy units and recognition of each fault, on fresh benches.

Run with `python tests/benchmarks/trust.py [--units 500] [--seed 1]`. Faults follow the virtual
bench's laws, applied to single units; sizes are drawn.
"""

from __future__ import annotations

import argparse
import math
from collections import Counter
from collections.abc import Callable, Mapping
from concurrent.futures import Executor, ProcessPoolExecutor
from dataclasses import replace
from functools import partial
from itertools import pairwise

import numpy as np
import numpy.typing as npt
import unpowered
from coverage import BENCH, RATED_LIFT_MM, TYPE_UNIT, Setup, bath_of
from scipy import stats

from proofbath.curve.analyse import analyse
from proofbath.curve.local import lagged
from proofbath.curve.record import CurveRecord
from proofbath.virtual import truth
from proofbath.virtual.description import VirtualProbe, VirtualStation, VirtualUnit
from proofbath.virtual.native import unit_response
from proofbath.virtual.population import draw_probe, draw_station, draw_unit

Floats = npt.NDArray[np.float64]
STEP_S = 0.1
DEEP_MM = 6.0
NIGHT = Setup()
SEEN_AS = {
    "bubbles": ("bubbles",),
    "gauge_sticking": ("gauge_sticking",),
    "vent_pin": ("gauge_noisy",),
    "gauge_contact": ("gauge_jump",),
    "air": ("slow_element",),
    "stuck": ("valve_sticking",),
    "weak_spring": ("late_return", "no_return"),
    # Three cycles with scatter cannot always tell a drift from a jump: either code counts.
    "leak": ("wax_leak", "not_repeatable"),
    "overheated": ("not_repeatable", "wax_leak"),
    "fast_ramp": ("ramp_fast",),
}


POWERED_SEEN_AS = {
    "bubbles": ("bubbles",),
    "gauge_sticking": ("gauge_sticking",),
    "vent_pin": ("gauge_noisy",),
    "gauge_contact": ("gauge_jump",),
    "voltage": ("heater_resistance",),
    "current": ("heater_resistance",),
    "power": ("shift_unusual",),
    "air": ("shift_unusual",),
}
# What a workshop has pooled over units of the type: heater shift and its sd between units.
TYPE_KNOWN = unpowered.BENCH.model_copy(
    update={"type_shift_k_per_w": -1.9, "type_shift_sd_k_per_w": 0.33}
)


def unclipped(unit: VirtualUnit, bath_c: Floats, seed: int) -> Floats:
    """Volume lift without friction, negative while shut: the valve is set 6 mm open meanwhile."""
    deep = unit.model_copy(
        update={"setting_mm": unit.setting_mm + DEEP_MM, "friction_mm": 0.0, "stop_mm": 19.0}
    )
    lift_mm, _ = unit_response(deep.parameters(), bath_c, step_s=STEP_S, seed=seed)
    return lift_mm - DEEP_MM


def follow(drive_mm: Floats, step: Callable[[float, float], float]) -> Floats:
    """Let a pin or plunger follow a drive by a rule step(pin, drive)."""
    pin, shown = float(drive_mm[0]), []
    for drive in drive_mm.tolist():
        pin = step(pin, drive)
        shown.append(pin)
    return np.array(shown)


def valve_lift(
    unit: VirtualUnit, bath_c: Floats, fault: str, rng: np.random.Generator, seed: int
) -> Floats:
    """Lift of the valve with the faults that live in the unit."""
    if fault == "air":
        divisor = rng.uniform(3.5, 6.0)
        unit = unit.model_copy(update={"film_w_per_k": unit.film_w_per_k / divisor})
    if fault in ("leak", "overheated"):
        return by_cycles(unit, bath_c, fault, rng, seed)
    if fault not in ("stuck", "weak_spring"):
        return unit_response(unit.parameters(), bath_c, step_s=STEP_S, seed=seed)[0]
    x_mm, half = unclipped(unit, bath_c, seed), unit.friction_mm / 2
    if fault == "stuck":
        hold = rng.uniform(0.4, 2.0)
        pin = follow(x_mm, lambda p, x: x if abs(x - p) > hold else p)
    else:
        missing = rng.uniform(0.4, 1.5)
        pin = follow(x_mm, lambda p, x: min(max(p, x - half), x + half + missing))
    return np.clip(pin, 0.0, unit.stop_mm)


def by_cycles(
    unit: VirtualUnit, bath_c: Floats, fault: str, rng: np.random.Generator, seed: int
) -> Floats:
    """Each cycle with a unit of its own: wax lost from cycle to cycle, or a shift for good."""
    cold = bath_c <= bath_c[-1] + 0.2
    starts = np.flatnonzero(~cold[1:] & cold[:-1])
    edges = [0, *starts[1:].tolist(), len(bath_c)]
    lost_mg, shift_k = rng.uniform(4.0, 10.0), rng.uniform(1.2, 4.0)
    parts = []
    for number, (first, end) in enumerate(pairwise(edges)):
        update = {"wax_mg": unit.wax_mg - number * lost_mg}
        if fault == "overheated":
            update = {"melting_c": unit.melting_c + (shift_k if number else 0.0)}
        changed = unit.model_copy(update=update)
        lift_mm, _ = unit_response(
            changed.parameters(), bath_c[first:end], step_s=STEP_S, seed=seed + number
        )
        parts.append(lift_mm)
    return np.concatenate(parts)


def gauge(lift_mm: Floats, bath_c: Floats, fault: str, rng: np.random.Generator) -> Floats:
    """What the gauge adds of its own faults."""
    count = len(lift_mm)
    if fault == "bubbles":
        lift_mm = lift_mm.copy()
        tall_mm, at = rng.uniform(0.1, 0.3), 0.0
        while at < count * STEP_S:
            at += rng.exponential(25.0)
            first = int(at / STEP_S)
            end = first + int(rng.uniform(2, 10) / STEP_S)
            if end < count and 70.0 < bath_c[first] < 95.0:
                lift_mm[first:end] += tall_mm * (0.2 + 0.8 * rng.uniform())
    if fault == "gauge_sticking":
        behind = rng.uniform(0.03, 0.2)
        lift_mm = follow(lift_mm, lambda p, x: x if abs(x - p) > behind else p)
    if fault == "vent_pin":
        lift_mm = lift_mm + rng.uniform(0.06, 0.3) * np.abs(rng.standard_normal(count))
    if fault == "gauge_contact":
        lift_mm = lift_mm.copy()
        for first in rng.integers(0, count, 5).tolist():
            lift_mm[first : first + 300] = 19.5
    return lift_mm


def trial(fault: str, seed: int) -> tuple[str, ...]:
    """Return the codes given for one unit with one fault."""
    rng = np.random.default_rng(seed)
    unit, station = draw_unit(rng, TYPE_UNIT, f"T82-{seed}", 1), draw_station(rng, 1)
    probe = draw_probe(rng)
    setup = replace(NIGHT, rates_k_per_min=(3.0, 3.0)) if fault == "fast_ramp" else NIGHT
    bath_c = bath_of(setup, STEP_S)
    lift_mm = valve_lift(unit, bath_c + station.gradient_k, fault, rng, seed)
    record = shown(gauge(lift_mm, bath_c, fault, rng), bath_c, station, probe, rng)
    result = analyse(record, rated_lift_mm=RATED_LIFT_MM, bench_budget=BENCH)
    return tuple(w.code for w in result.warnings)


def powered_trial(fault: str, seed: int) -> tuple[str, ...]:
    """Return the codes given for one unit of a powered night, 1 to 6 K beyond the bath."""
    rng = np.random.default_rng(seed)
    unit = unpowered.draw(rng)
    if fault == "air":
        unit = unit.model_copy(update={"film_w_per_k": unit.film_w_per_k / rng.uniform(3.5, 6.0)})
    true_c = truth.rising_c(unit, 0.1)
    assert true_c is not None
    record = unpowered.run_unit(
        unit,
        unpowered.hottest_first(true_c, rng.uniform(1.0, 6.0), 12.0),
        seed,
        lambda lift_mm, bath_c: gauge(lift_mm, bath_c, fault, rng),
    )
    assert record.element_a is not None
    assert record.element_v is not None
    wrong = rng.choice([rng.uniform(0.6, 0.78), rng.uniform(1.3, 1.6)])
    if fault == "power":  # less than half hides in the spread of healthy units
        wrong = rng.choice([rng.uniform(0.5, 0.66), rng.uniform(1.5, 1.8)])
    amps = record.element_a * (wrong if fault in ("current", "power") else 1.0)
    volts = record.element_v * (wrong if fault in ("voltage", "power") else 1.0)
    result = analyse(
        replace(record, element_a=amps, element_v=volts), bench_budget=TYPE_KNOWN, element_ohm=15.0
    )
    return tuple(w.code for w in result.warnings)


def shown(
    lift_mm: Floats,
    bath_c: Floats,
    station: VirtualStation,
    probe: VirtualProbe,
    rng: np.random.Generator,
) -> CurveRecord:
    """The record with the bench's own errors and noise."""
    t_s = np.arange(len(bath_c), dtype=float) * STEP_S
    seen_c = lagged(t_s, bath_c + 0.008 * rng.standard_normal(len(t_s)), probe.lag_s)
    seen_c = seen_c + probe.offset_k + probe.noise_k * rng.standard_normal(len(t_s))
    lift_mm = station.gauge_zero_mm + station.gauge_gain * lift_mm
    lift_mm = lift_mm + station.expansion_mm_per_k * (bath_c - 20.0)
    lift_mm = lift_mm + 0.002 * rng.standard_normal(len(t_s))
    return CurveRecord(t_s, seen_c, np.round(lift_mm / 0.00122) * 0.00122)


def main() -> None:
    """Print false alarms and recognition, each with its binomial 95 % band."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--units", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--fault", choices=SEEN_AS | POWERED_SEEN_AS, help="this fault alone")
    parser.add_argument("--processes", type=int, default=2)
    options = parser.parse_args()
    seeds = range(options.seed * 100_000, options.seed * 100_000 + options.units)
    with ProcessPoolExecutor(options.processes) as pool:
        for title, run, seen_as in (
            ("plain", trial, SEEN_AS),
            ("powered", powered_trial, POWERED_SEEN_AS),
        ):
            chosen = {options.fault: seen_as.get(options.fault, ())} if options.fault else seen_as
            print(f"\n{title} nights")
            study(pool, run, chosen, seeds)


def study(
    pool: Executor,
    run: Callable[[str, int], tuple[str, ...]],
    seen_as: Mapping[str, tuple[str, ...]],
    seeds: range,
) -> None:
    """Run healthy units and those of each fault; print the shares and the codes given."""
    healthy = list(pool.map(partial(run, "none"), seeds, chunksize=5))
    print_share("false alarms on healthy units", sum(map(bool, healthy)), len(seeds))
    print("   ", dict(Counter(code for codes in healthy for code in codes)))
    each, total = math.ceil(len(seeds) / len(seen_as)), 0
    for fault, wanted in seen_as.items():
        given = list(pool.map(partial(run, fault), seeds[:each], chunksize=2))
        seen = sum(any(code in wanted for code in codes) for codes in given)
        total += seen
        print_share(fault, seen, each)
        print("   ", dict(Counter(code for codes in given for code in codes)))
    print_share("all faults recognised", total, each * len(seen_as))


def print_share(title: str, count: int, of: int) -> None:
    """Print a share with its exact binomial band."""
    band = stats.binomtest(count, of).proportion_ci(0.95, "exact")
    print(f"{title:32} {count / of:7.1%}  ({band.low:.1%} to {band.high:.1%}, {of} units)")


if __name__ == "__main__":
    main()
