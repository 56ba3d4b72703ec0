"""Coverage study: do the stated 95 % intervals hold on units and benches drawn afresh?

Run with `python tests/benchmarks/coverage.py [--units 1000] [--seed 1] [--sweep]`.
Each unit has its own bench (probe, gradient, gauge, fixture) and its own cycle scatter; the whole
error counts, probe included. Printed per quantity: coverage with its binomial 95 % interval, bias,
95 % error, nulls; "own" columns have the drawn probe and gradient errors taken off.
"""

from __future__ import annotations

import argparse
import math
import os
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
import numpy.typing as npt
from scipy import stats

from proofbath.curve.analyse import analyse
from proofbath.curve.bench_budget import BenchBudget
from proofbath.curve.local import lagged
from proofbath.curve.record import CurveRecord
from proofbath.virtual import truth
from proofbath.virtual.description import VirtualProbe, VirtualStation, VirtualUnit
from proofbath.virtual.native import unit_response
from proofbath.virtual.population import draw_probe, draw_station, draw_unit

Floats = npt.NDArray[np.float64]
TYPE_UNIT = VirtualUnit(serial="T82-MODEL", station=1, heater_ohm=0.0)
RATED_LIFT_MM, HYSTERESIS_LIFT_MM = 8.0, 4.0
LIFT_STEP_MM = 20.0 / 16380
# What the bench knows of itself: the spreads that tests/benchmarks draws its benches with.
BENCH = BenchBudget(
    probe_k=math.hypot(0.05, 85 * 0.0003, 0.03),
    gradient_k=0.06,
    gauge_mm=0.0,
    gauge_relative=0.002,
    probe_lag_s=6.0,
    probe_lag_u_s=1.2,
    night_k=0.0,
    repeatability_k=0.132,
    repeatability_dof=60.0,
)


@dataclass(frozen=True)
class Setup:
    """One trial's conditions; `scatter_k` None draws it per unit."""

    rates_k_per_min: tuple[float, ...] = (1.0, 1.0, 0.5)
    fall_k_per_min: float = 0.42
    scatter_k: float | None = None
    gauge_noise_mm: float = 0.002
    samples_per_s: float = 10.0
    mixing_k: float = 0.008
    bench: BenchBudget | None = BENCH
    top_c: float = 99.0


def bath_of(setup: Setup, step_s: float) -> Floats:
    """The bath: up to 70 °C at 4 K/min, soak, a cycle per rate with a hold of 5 min."""
    parts: list[Floats] = []

    def go(from_c: float, to_c: float, rate: float) -> None:
        count = round(abs(to_c - from_c) / rate * 60 / step_s)
        parts.append(np.linspace(from_c, to_c, count, endpoint=False))

    go(20.0, 70.0, 4.0)
    parts.append(np.full(round(420 / step_s), 70.0))
    for rate in setup.rates_k_per_min:
        go(70.0, setup.top_c, rate)
        parts.append(np.full(round(300 / step_s), setup.top_c))
        go(setup.top_c, 70.0, setup.fall_k_per_min)
        parts.append(np.full(round(300 / step_s), 70.0))
    ideal = np.concatenate(parts)
    return lagged(
        np.arange(len(ideal), dtype=float) * step_s, ideal, 15.0
    )  # a real bath rounds its corners


def run_unit(
    setup: Setup, unit: VirtualUnit, station: VirtualStation, probe: VirtualProbe, seed: int
) -> CurveRecord:
    """One unit's record as its bench shows it."""
    step_s = min(0.1, 1 / setup.samples_per_s)
    rng = np.random.default_rng(seed)
    bath_c = bath_of(setup, step_s)
    t_s = np.arange(len(bath_c), dtype=float) * step_s
    swirl = lagged(t_s, rng.standard_normal(len(t_s)), 3.0) * setup.mixing_k * math.sqrt(60.0)
    lift_mm, _ = unit_response(
        unit.parameters(), bath_c + station.gradient_k, step_s=step_s, seed=seed
    )
    seen_c = lagged(t_s, bath_c + swirl, probe.lag_s)
    seen_c = seen_c + probe.offset_k + probe.slope_k_per_k * seen_c + probe.gradient_k
    seen_c += probe.noise_k * rng.standard_normal(len(t_s))
    expansion_mm = station.expansion_mm_per_k * (bath_c + station.gradient_k - 20.0)
    shown_mm = station.gauge_zero_mm + station.gauge_gain * (lift_mm + expansion_mm)
    shown_mm += setup.gauge_noise_mm * rng.standard_normal(len(t_s))
    shown_mm = np.round(shown_mm / LIFT_STEP_MM) * LIFT_STEP_MM
    every = max(1, round(1 / setup.samples_per_s / step_s))
    return CurveRecord(t_s[::every], seen_c[::every], shown_mm[::every], name=unit.serial)


def trial(setup: Setup, seed: int) -> dict[str, tuple[float, float, float] | None]:
    """Return (error, U, error without the drawn bench) per quantity, None for a null."""
    rng = np.random.default_rng(seed)
    unit, station = draw_unit(rng, TYPE_UNIT, f"T82-{seed}", 1), draw_station(rng, 1)
    probe = draw_probe(rng)
    if setup.scatter_k is not None:
        unit = unit.model_copy(update={"start_scatter_k": setup.scatter_k})
    record = run_unit(setup, unit, station, probe, seed)
    result = analyse(
        record,
        rated_lift_mm=RATED_LIFT_MM,
        hysteresis_lift_mm=HYSTERESIS_LIFT_MM,
        bench_budget=setup.bench,
    )
    shown: dict[str, tuple[float, float, float] | None] = {}
    full_at_c = result.full_lift_mm.at.get("bath_c", setup.top_c)
    for name, true in true_values(unit, full_at_c).items():
        found = result.quantities[name]
        if found.value is None or found.expanded_uncertainty is None:
            shown[name] = None
            continue
        drawn = 0.0
        if name in ("start_to_open_c", "closing_c", "full_open_c"):
            drawn = probe.offset_k + probe.slope_k_per_k * true + probe.gradient_k
            drawn -= station.gradient_k
        error = found.value - true
        shown[name] = (error, found.expanded_uncertainty, error - drawn)
    return shown


def true_values(unit: VirtualUnit, full_at_c: float) -> dict[str, float]:
    """Closed-form truths of what the study judges; those the unit does not reach left out."""
    found = {
        "start_to_open_c": truth.rising_c(unit, 0.1),
        "closing_c": truth.falling_c(unit, 0.1),
        "hysteresis_k": truth.hysteresis_k(unit, HYSTERESIS_LIFT_MM),
        "full_open_c": truth.rising_c(unit, RATED_LIFT_MM),
        "full_lift_mm": truth.lift_mm(unit, full_at_c),
        "zero_return_mm": 0.0,
    }
    return {name: value for name, value in found.items() if value is not None}


def study(setup: Setup, units: int, seed: int, title: str) -> None:
    """Run the trials on all cores and print the table."""
    seeds = range(seed * 1_000_000, seed * 1_000_000 + units)
    with ProcessPoolExecutor(max_workers=os.cpu_count()) as pool:
        trials = list(pool.map(partial(trial, setup), seeds, chunksize=10))
    print(f"\n{title}: {units} units, each with a fresh bench")
    print(f"{'quantity':18}{'coverage':>9}{'95 % band':>16}{'bias':>9}{'95 % err':>9}", end="")
    print(f"{'mean U':>8}{'nulls':>7}{'own bias':>10}{'own 95 %':>9}")
    for name in trials[0]:
        print_row(name, [t.get(name) for t in trials if name in t])


def print_row(name: str, rows: list[tuple[float, float, float] | None]) -> None:
    """Print one quantity's line; `own` columns have the drawn probe and gradient taken off."""
    whole = np.array([row for row in rows if row is not None])
    held = int(np.sum(np.abs(whole[:, 0]) <= whole[:, 1]))
    band = stats.binomtest(held, len(whole)).proportion_ci(0.95, "exact")
    print(
        f"{name:18}{held / len(whole):9.1%}{band.low:8.1%} {band.high:7.1%}"
        f"{whole[:, 0].mean():9.3f}{np.quantile(np.abs(whole[:, 0]), 0.95):9.3f}"
        f"{whole[:, 1].mean():8.3f}{1 - len(whole) / len(rows):7.1%}"
        f"{whole[:, 2].mean():10.3f}{np.quantile(np.abs(whole[:, 2]), 0.95):9.3f}"
    )


def sweeps(base: Setup) -> Iterator[tuple[str, Setup]]:
    """Yield the conditions one by one: cycle scatter, ramp rates, noise, sample rate."""
    vary: Callable[..., Setup] = partial(replace, base)
    for scatter_k in (0.0, 0.05, 0.1, 0.2):
        yield f"cycle scatter {scatter_k:g} K", vary(scatter_k=scatter_k)
    for rates in ((1.0,), (1.0, 1.0), (2.0, 2.0, 1.0), (0.5, 0.5)):
        yield f"rates {rates} K/min", vary(rates_k_per_min=rates)
    for noise_mm in (0.005, 0.02):
        yield f"gauge noise {noise_mm * 1000:g} um", vary(gauge_noise_mm=noise_mm)
    for rate in (1.0, 0.2):
        yield f"{rate:g} samples a second", vary(samples_per_s=rate)


def main() -> None:
    """Read the options and run the study."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--units", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--sweep", action="store_true", help="all conditions one by one")
    options = parser.parse_args()
    study(Setup(), options.units, options.seed, "reference night")
    if options.sweep:
        for title, setup in sweeps(Setup()):
            study(setup, options.units, options.seed, title)


if __name__ == "__main__":
    main()
