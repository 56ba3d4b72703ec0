"""Extrapolation study: unpowered start-to-open of units that open above what the bath reaches.

Run with `python tests/benchmarks/unpowered.py [--units 300] [--seed 1]`. Units have three wax
shells with the heater in the core and a film that grows 0.2 to 0.4 % per K, so that a straight
line in power is wrong; the programme is a power ramp at two baths and two rates. The drawn probe
and gradient errors are taken off: they shift bath and truth alike.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial

import numpy as np
import numpy.typing as npt
from scipy import stats

from proofbath.curve.analyse import analyse
from proofbath.curve.bench_budget import BenchBudget
from proofbath.curve.local import lagged
from proofbath.curve.record import CurveRecord
from proofbath.virtual import truth
from proofbath.virtual.description import VirtualUnit
from proofbath.virtual.native import unit_response
from proofbath.virtual.population import draw_unit

Floats = npt.NDArray[np.float64]
STEP_S = 0.1
BENCH = BenchBudget(
    probe_k=0.0,
    gradient_k=0.0,
    gauge_mm=0.0,
    gauge_relative=0.002,
    night_k=0.0,
    repeatability_k=0.13,
    repeatability_dof=60,
    power_relative=0.005,
    lead_ohm=0.3,
)


def programme(
    hottest_c: float, rates_w_per_min: Sequence[float] = (0.5, 1.0), most_w: float = 13.0
) -> tuple[Floats, Floats]:
    """Return bath and power: at two baths, power up at each rate, down, bath cooled in between."""
    bath: list[Floats] = [np.array([20.0])]
    power: list[Floats] = [np.array([0.0])]

    def go(to_c: float, to_w: float, seconds: float) -> None:
        count = round(seconds / STEP_S)
        bath.append(np.linspace(bath[-1][-1], to_c, count + 1)[1:])
        power.append(np.linspace(power[-1][-1], to_w, count + 1)[1:])

    for bath_c in (hottest_c, hottest_c - 8.5):
        for rate in rates_w_per_min:
            go(hottest_c - 30.0, 0.0, 2400)
            go(bath_c, 0.0, 900)
            go(bath_c, 0.0, 600)
            go(bath_c, most_w, most_w / rate * 60)
            go(bath_c, 0.0, most_w * 60)
    bath_c_all = np.concatenate(bath)
    return lagged(
        np.arange(len(bath_c_all), dtype=float) * STEP_S, bath_c_all, 15.0
    ), np.concatenate(power)


def draw(rng: np.random.Generator, shells: int = 3) -> VirtualUnit:
    """Draw a heater-assisted unit of shells with a growing film."""
    growth = float(rng.uniform(0.002, 0.004))
    kind = VirtualUnit(
        serial="H103-MODEL", station=1, melting_c=111.0, film_growth_per_k=growth, shells=shells
    )
    return draw_unit(rng, kind, "H103-1", 1)


def run_unit(
    unit: VirtualUnit,
    hottest_c: float,
    seed: int,
    spoil: Callable[[Floats, Floats], Floats] = lambda lift_mm, bath_c: lift_mm,
) -> CurveRecord:
    """One unit's record under the programme, gauge noise and 1.2 um steps included.

    `spoil` makes of lift and bath what a faulty gauge shows.
    """
    bath_c, power_w = programme(hottest_c)
    rng = np.random.default_rng(seed)
    lift_mm, _ = unit_response(unit.parameters(), bath_c, power_w, step_s=STEP_S, seed=seed)
    lift_mm = spoil(lift_mm, bath_c)
    shown = 0.4 + 0.0005 * bath_c + lift_mm + 0.002 * rng.standard_normal(len(bath_c))
    shown = np.round(shown / 0.00122) * 0.00122
    ohm = unit.heater_ohm * (1 + unit.heater_per_k * (bath_c - 25.0))
    amps = np.sqrt(power_w / ohm)
    volts = amps * (ohm + 0.3)
    seen_c = bath_c + 0.003 * rng.standard_normal(len(bath_c))
    t_s = np.arange(len(bath_c), dtype=float) * STEP_S
    return CurveRecord(t_s, seen_c, shown, amps, volts, unit.serial)


def trial(beyond_k: float, shells: int, seed: int) -> tuple[float, float, float] | None:
    """Return (error, U, error of the shift per W relative to truth) or None for a null."""
    rng = np.random.default_rng(seed)
    unit = draw(rng, shells)
    true_c = truth.rising_c(unit, 0.1)
    if true_c is None:
        return None
    result = analyse(run_unit(unit, true_c - beyond_k, seed), bench_budget=BENCH)
    start, shift = result.unpowered_start_to_open_c, result.shift_k_per_w
    if start.value is None or start.expanded_uncertainty is None or shift.value is None:
        return None
    true_shift = truth.shift_k_per_w(unit, 0.1, truth.Power(w=shift.at["power_w"]))
    off = shift.value - true_shift if true_shift is not None else math.nan
    return start.value - true_c, start.expanded_uncertainty, off


def main() -> None:
    """Read the options, run the study, print a line per distance."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--units", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    seeds = range(options.seed * 100_000, options.seed * 100_000 + options.units)
    with ProcessPoolExecutor() as pool:
        for shells in (3, 1):
            for beyond_k in (1.5, 3.0, 5.0, 7.0, 10.0):
                rows = list(pool.map(partial(trial, beyond_k, shells), seeds, chunksize=5))
                print_line(f"{shells} shells, {beyond_k:g} K beyond", rows)


def print_line(title: str, rows: Sequence[tuple[float, float, float] | None]) -> None:
    """Print coverage with its band, bias, 95 % error, U, nulls and the shift's 95 % error."""
    whole = np.array([row for row in rows if row is not None])
    held = int(np.sum(np.abs(whole[:, 0]) <= whole[:, 1]))
    band = stats.binomtest(held, len(whole)).proportion_ci(0.95, "exact")
    print(
        f"{title:26} coverage {held / len(whole):6.1%} ({band.low:.1%} to {band.high:.1%})"
        f"  bias {whole[:, 0].mean():+.3f} K  95 % {np.quantile(abs(whole[:, 0]), 0.95):.3f} K"
        f"  U {whole[:, 1].mean():.3f} K  nulls {1 - len(whole) / len(rows):.1%}"
        f"  shift 95 % {np.nanquantile(abs(whole[:, 2]), 0.95):.3f} K/W"
    )


if __name__ == "__main__":
    main()
