"""Extrapolation study: unpowered start-to-open of units that open above what the bath reaches.

Run with `python tests/benchmarks/unpowered.py [--units 400] [--simulated] [--span 12]
[--strange]`. For each law of the film, distance beyond the hottest bath and span of four baths it
prints how often the stated 95 % interval holds, the median U and the bias; then the same over all
laws. Units have three wax shells with the heater in the core. Without `--simulated` each start is
the steady heat balance of the unit with its cycle scatter, lag and crossing noise; with it the
whole unit is stepped through two power ramps at each bath and its record analysed, half a second a
unit. The drawn probe and gradient errors are taken off: they shift bath and truth alike.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from scipy import stats
from scipy.optimize import brentq

from proofbath.curve.analyse import analyse
from proofbath.curve.bench_budget import BenchBudget
from proofbath.curve.drive import PoweredEvent
from proofbath.curve.local import lagged
from proofbath.curve.record import CurveRecord
from proofbath.curve.result import Quantity, Warned
from proofbath.curve.unpowered import unpowered_quantities
from proofbath.virtual import truth
from proofbath.virtual.description import VirtualUnit
from proofbath.virtual.native import unit_response
from proofbath.virtual.population import draw_unit

Floats = npt.NDArray[np.float64]
STEP_S = 0.1
THRESHOLD_MM = 0.1
RATES_W_PER_MIN = (1.0, 0.5)
BATHS = 4
DISTANCES_K = (2.0, 4.0, 7.0, 10.0)
SPANS_K = (12.0, 16.0)
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
LAWS: dict[str, dict[str, float]] = {
    "constant": {},
    "+0.3 %/K of bath": {"film_growth_per_k": 0.003},
    "+5 %/K of excess": {"film_excess_per_k": 0.05},
    "-5 %/K of excess": {"film_excess_per_k": -0.05},
    "excess^0.1": {"film_exponent": 0.1},
    "excess^0.25": {"film_exponent": 0.25},
    "core 0.3-0.6 K/W": {},
    "30 % into the cup": {"cup_power_share": 0.3},
}
STRANGE_LAWS: dict[str, dict[str, float]] = {
    "excess^0.33": {"film_exponent": 0.33},
    "excess^0.5": {"film_exponent": 0.5},
    "excess^0.2, +0.3 %/K": {"film_exponent": 0.2, "film_growth_per_k": 0.003},
    "excess^0.1, +3 %/K": {"film_exponent": 0.1, "film_excess_per_k": 0.03},
    "+10 %/K of excess": {"film_excess_per_k": 0.10},
    "-3 %/K of excess": {"film_excess_per_k": -0.03},
    "core share 0.6": {"core_share": 0.6},
}
"""Laws for which the weights were not chosen; `--strange` runs these in their place."""
CORE_K_PER_W = (0.3, 0.6)
HEAT_J_PER_K = 10.0
"""Of the wax where it starts to open, from memory: the element model."""


def programme(
    baths_c: Sequence[float],
    rates_w_per_min: Sequence[float] = RATES_W_PER_MIN,
    most_w: float = 13.0,
) -> tuple[Floats, Floats]:
    """Return bath and power: at each bath, power up at each rate, down, bath cooled in between."""
    bath: list[Floats] = [np.array([20.0])]
    power: list[Floats] = [np.array([0.0])]
    cold_c = max(baths_c) - 30.0

    def go(to_c: float, to_w: float, seconds: float) -> None:
        count = round(seconds / STEP_S)
        bath.append(np.linspace(bath[-1][-1], to_c, count + 1)[1:])
        power.append(np.linspace(power[-1][-1], to_w, count + 1)[1:])

    for bath_c in baths_c:
        for rate in rates_w_per_min:
            go(cold_c, 0.0, 2400)
            go(bath_c, 0.0, 900)
            go(bath_c, 0.0, 600)
            go(bath_c, most_w, most_w / rate * 60)
            go(bath_c, 0.0, most_w * 60)
    bath_c_all = np.concatenate(bath)
    return lagged(
        np.arange(len(bath_c_all), dtype=float) * STEP_S, bath_c_all, 15.0
    ), np.concatenate(power)


def draw(rng: np.random.Generator, law: str = "+0.3 %/K of bath", shells: int = 3) -> VirtualUnit:
    """Draw a heater-assisted unit of shells whose film follows a law."""
    kind = VirtualUnit(
        serial="H103-MODEL",
        station=1,
        melting_c=111.0,
        shells=shells,
        film_w_per_k=float(rng.uniform(1.2, 1.8)),
    )
    unit = draw_unit(rng, kind.model_copy(update=(LAWS | STRANGE_LAWS)[law]), "H103-1", 1)
    if law != "core 0.3-0.6 K/W":
        return unit
    core = float(rng.uniform(*CORE_K_PER_W)) * unit.wax_w_per_k
    return unit.model_copy(update={"core_share": core})


def hottest_first(true_c: float, beyond_k: float, span_k: float) -> list[float]:
    """Return the baths of a programme, evenly over the span, the hottest first."""
    return [true_c - beyond_k - span_k * n / (BATHS - 1) for n in range(BATHS)]


def run_unit(
    unit: VirtualUnit,
    baths_c: Sequence[float],
    seed: int,
    spoil: Callable[[Floats, Floats], Floats] = lambda lift_mm, bath_c: lift_mm,
    most_w: float = 13.0,
) -> CurveRecord:
    """One unit's record under the programme, gauge noise and 1.2 um steps included.

    `spoil` makes of lift and bath what a faulty gauge shows.
    """
    bath_c, power_w = programme(baths_c, most_w=most_w)
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


def opening_w(unit: VirtualUnit, bath_c: float, later_k: float = 0.0) -> float:
    """Return the steady power that just opens a unit in a bath, in a cycle so much later."""
    needed_mm = THRESHOLD_MM + unit.friction_mm / 2.0

    def missing_mm(power_w: float) -> float:
        power = truth.Power(w=power_w)
        return truth.steady_volume_lift_mm(unit, bath_c, power, -later_k) - needed_mm

    return float(brentq(missing_mm, 0.0, 60.0, xtol=1e-6))


def balance_events(
    unit: VirtualUnit, baths_c: Sequence[float], rng: np.random.Generator
) -> list[PoweredEvent]:
    """Return the starts a programme shows, from heat balance: scatter, lag and noise drawn.

    The wax follows a power by its heat times the shift's slope there.
    """
    heat_j_per_k = HEAT_J_PER_K * rng.normal(1.0, 0.1)
    events = []
    for bath_c in baths_c:
        for rate in RATES_W_PER_MIN:
            later_k = unit.start_scatter_k * rng.standard_normal()
            power_w = opening_w(unit, bath_c, later_k)
            lag_s = heat_j_per_k / (opening_w(unit, bath_c, later_k + 1.0) - power_w)
            power_w += rate / 60.0 * lag_s
            seen_c = bath_c + 0.02 * rng.standard_normal()
            events.append(PoweredEvent(seen_c, power_w, 0.0, rate / 60.0, 0.37, 0.02, 0.002))
    return events


class Trial(NamedTuple):
    """One unit's error and U in K, NaN for a null; its power.

    `bent`: no law fits; `limited`: the start lies further beyond the bath than a certificate goes.
    """

    off_k: float
    expanded_u_k: float
    bent: bool
    limited: bool
    most_w: float


def trial(law: str, beyond_k: float, span_k: float, simulated: bool, seed: int) -> Trial:
    """Measure one unit by heat balance, or by its whole record."""
    rng = np.random.default_rng([seed, list(LAWS | STRANGE_LAWS).index(law)])
    unit = draw(rng, law)
    true_c = truth.rising_c(unit, THRESHOLD_MM)
    assert true_c is not None
    baths_c = hottest_first(true_c, beyond_k, span_k)
    most_w = opening_w(unit, min(baths_c))
    start: Quantity
    warned: Sequence[Warned]
    if simulated:
        record = run_unit(unit, baths_c, seed, most_w=most_w + 1.5)
        result = analyse(record, bench_budget=BENCH)
        start, warned = result.unpowered_start_to_open_c, result.warnings
    else:
        events = balance_events(unit, baths_c, rng)
        start, _, warned = unpowered_quantities(events, [], BENCH, THRESHOLD_MM)
    said = {w.code for w in warned}
    bent, limited = "power_line_bent" in said, "long_extrapolation" in said
    if start.value is None or start.expanded_uncertainty is None:
        return Trial(np.nan, np.nan, bent, limited, most_w)
    return Trial(start.value - true_c, start.expanded_uncertainty, bent, limited, most_w)


def main() -> None:
    """Read the options, run the study, print a line per law, distance and span."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--units", type=int, default=400)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--simulated", action="store_true", help="step the whole unit")
    parser.add_argument("--processes", type=int, default=None)
    parser.add_argument("--beyond", type=float, nargs="+", default=DISTANCES_K, metavar="K")
    parser.add_argument("--span", type=float, nargs="+", default=SPANS_K, metavar="K")
    parser.add_argument("--strange", action="store_true", help="laws the fit was not made for")
    options = parser.parse_args()
    seeds = range(options.seed * 100_000, options.seed * 100_000 + options.units)
    with ProcessPoolExecutor(options.processes) as pool:
        for span_k in options.span:
            for beyond_k in options.beyond:
                found: list[Trial] = []
                for law in STRANGE_LAWS if options.strange else LAWS:
                    measure = partial(trial, law, beyond_k, span_k, options.simulated)
                    rows = list(pool.map(measure, seeds, chunksize=5))
                    print_line(f"{span_k:2.0f} K span {beyond_k:2.0f} K beyond  {law}", rows)
                    found += rows
                print_line(f"{span_k:2.0f} K span {beyond_k:2.0f} K beyond  ALL LAWS", found)


def print_line(title: str, rows: Sequence[Trial]) -> None:
    """Print coverage with its band, median U, bias, what was said, power and nulls.

    "wrong": with nothing said against a certificate, but outside U.
    """
    whole = [row for row in rows if np.isfinite(row.off_k)]
    if not whole:
        print(f"{title:44} all {len(rows)} null", flush=True)
        return
    off_k = np.array([row.off_k for row in whole])
    u_k = np.array([row.expanded_u_k for row in whole])
    outside = np.abs(off_k) > u_k
    held = len(whole) - int(outside.sum())
    band = stats.binomtest(held, len(whole)).proportion_ci(0.95, "exact")
    bent, limited = (
        np.array([getattr(row, name) for row in whole]) for name in ("bent", "limited")
    )
    print(
        f"{title:44} coverage {held / len(whole):6.1%} ({band.low:.0%} to {band.high:.0%})"
        f"  median U {np.median(u_k):.2f} K  bias {off_k.mean():+.2f} K  sd {off_k.std():.2f} K"
        f"  bent {bent.mean():.1%}  limited {limited.mean():.0%}"
        f"  wrong {np.mean(outside & ~bent & ~limited):.1%}"
        f"  up to {np.quantile([row.most_w for row in whole], 0.95):.1f} W"
        f"  nulls {1 - len(whole) / len(rows):.1%}",
        flush=True,
    )


if __name__ == "__main__":
    main()
