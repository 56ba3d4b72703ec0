"""Heated units at set currents: are all steps found, and do lifts, times and openings hold?

Run with `python tests/benchmarks/set_currents.py [--units 40] [--seed 1] [--quiet-cycles]`. Each
drawn unit has its own bench (probe, gradient, gauge, leads) and is run at 0.25, 0.5, 0.75 and
1.0 A: a staircase in 95 °C ended by a power ramp, a step a current ended by switching off, and a
bath ramp at each current. The 95 % column has the drawn bench taken off; an interval is judged by
the whole error. `--quiet-cycles` sets the scatter of the start from cycle to cycle to 0. "U" of a
time is what is allowed: 2 s where the lift passes at 0.02 mm/s or more, else 0.04 mm by its speed.
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

from proofbath.curve.analyse import analyse
from proofbath.curve.bench_budget import BenchBudget
from proofbath.curve.local import lagged
from proofbath.curve.record import CurveRecord
from proofbath.curve.result import CurveResult
from proofbath.virtual import truth
from proofbath.virtual.description import VirtualStation, VirtualUnit
from proofbath.virtual.native import unit_response
from proofbath.virtual.population import draw_station, draw_unit

Floats = npt.NDArray[np.float64]
Respond = Callable[[Floats, Floats, int], Floats]
STEP_S, BATH_C, TOP_C, COLD_C = 0.1, 95.0, 97.0, 50.0
CURRENTS_A = (0.25, 0.5, 0.75, 1.0)
RATED_LIFT_MM = 8.0
HELD_S, RATE_K_PER_MIN = 600.0, 1.0
PROBE_K = 0.06
BENCH = BenchBudget(
    probe_k=PROBE_K,
    gradient_k=0.06,
    gauge_mm=0.0,
    gauge_relative=0.002,
    night_k=0.0,
    repeatability_k=0.132,
    repeatability_dof=60.0,
    power_relative=0.005,
    lead_ohm=0.3,
)


class Row(NamedTuple):
    """One value found: what, at which current, its error and that of the whole bench, its U."""

    what: str
    element_a: float
    error: float
    whole: float
    expanded: float


class Trial(NamedTuple):
    """One unit's values found, and of each current the steps run and those found."""

    rows: list[Row]
    run: list[float]
    found: list[float]


class Programme:
    """A bath and a current written as corners."""

    def __init__(self, first_c: float) -> None:
        self.bath: list[Floats] = [np.array([first_c])]
        self.amps: list[Floats] = [np.array([0.0])]

    def go(self, to_c: float, seconds: float, from_a: float, to_a: float | None = None) -> None:
        """Run the bath to a temperature; the power goes evenly from one to the other."""
        count = round(seconds / STEP_S)
        self.bath.append(np.linspace(self.bath[-1][-1], to_c, count + 1)[1:])
        last = from_a if to_a is None else to_a
        self.amps.append(np.sqrt(np.linspace(from_a**2, last**2, count)))

    def whole(self) -> tuple[Floats, Floats]:
        """Return bath, rounded at its corners as a real one, and current."""
        bath_c: Floats = np.concatenate(self.bath)
        t_s = STEP_S * np.arange(len(bath_c), dtype=np.float64)
        return lagged(t_s, bath_c, 15.0), np.concatenate(self.amps)


def steps_programme(rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Return a staircase ended by a power ramp, then each current ended by switching off."""
    made = Programme(COLD_C)
    made.go(BATH_C, 1800.0, 0.0)
    made.go(BATH_C, 600.0 + rng.uniform(), 0.0)
    for amps in CURRENTS_A:
        made.go(BATH_C, HELD_S + rng.uniform(), amps)
    made.go(BATH_C, 900.0, CURRENTS_A[-1], 0.0)
    made.go(60.0, 900.0, 0.0)
    made.go(BATH_C, 1200.0, 0.0)
    made.go(BATH_C, 600.0 + rng.uniform(), 0.0)
    for amps in CURRENTS_A:
        made.go(BATH_C, HELD_S + rng.uniform(), amps)
        made.go(BATH_C, 600.0, 0.0)
        made.go(60.0, 900.0, 0.0)
        made.go(BATH_C, 1200.0 + rng.uniform(), 0.0)
        made.go(BATH_C, 600.0, 0.0)
    return made.whole()


def ramps_programme() -> tuple[Floats, Floats]:
    """Return a bath ramp up and down at each current, without current first."""
    made = Programme(COLD_C)
    span_s = (TOP_C - COLD_C) / RATE_K_PER_MIN * 60
    for amps in (0.0, *CURRENTS_A):
        made.go(COLD_C, 600.0, 0.0)
        made.go(COLD_C, 300.0, amps)
        made.go(TOP_C, span_s, amps)
        made.go(TOP_C, 300.0, amps)
        made.go(COLD_C, span_s, amps)
    made.go(COLD_C, 300.0, 0.0)
    return made.whole()


def shown_by(
    unit: VirtualUnit,
    station: VirtualStation,
    probe_k: float,
    programme: tuple[Floats, Floats],
    seed: int,
    respond: Respond | None = None,
) -> tuple[CurveRecord, Floats]:
    """Return a unit's record as its bench shows it, and the plant's own lift.

    `respond` gives the lift of a unit that is not sound, from bath, power in W and seed.
    """
    bath_c, amps = programme
    rng = np.random.default_rng(seed)
    t_s = np.arange(len(bath_c), dtype=float) * STEP_S
    felt_c = bath_c + station.gradient_k
    core_k_per_w = (truth.shells_c(unit, 80.0, 10.0)[0] - 80.0) / 10.0
    core_c = felt_c + core_k_per_w * amps**2 * unit.heater_ohm
    ohm = unit.heater_ohm * (1 + unit.heater_per_k * (core_c - 25.0))
    if respond is None:
        power_w = amps**2 * ohm
        lift_mm, _ = unit_response(unit.parameters(), felt_c, power_w, step_s=STEP_S, seed=seed)
    else:
        lift_mm = respond(felt_c, amps**2 * ohm, seed)
    expansion_mm = station.expansion_mm_per_k * (felt_c - 20.0)
    gauge_mm = station.gauge_zero_mm + station.gauge_gain * (lift_mm + expansion_mm)
    gauge_mm += 0.002 * rng.standard_normal(len(t_s))
    gauge_mm = np.round(gauge_mm / 0.00122) * 0.00122
    on = amps > 0
    read_a = station.current_gain * amps + on * 0.0003 * rng.standard_normal(len(t_s))
    read_v = station.voltage_gain * amps * (ohm + station.lead_ohm)
    seen_c = bath_c + probe_k + 0.003 * rng.standard_normal(len(t_s))
    return CurveRecord(t_s, seen_c, gauge_mm, read_a, read_v, unit.serial), lift_mm


def trial(quiet: bool, seed: int) -> Trial:
    """Run one drawn unit on one drawn bench through both programmes."""
    rng = np.random.default_rng(seed)
    growth = float(rng.uniform(0.002, 0.004))
    kind = VirtualUnit(
        serial="H103-MODEL", station=1, melting_c=111.0, film_growth_per_k=growth, shells=3
    )
    unit, station = draw_unit(rng, kind, "H103-1", 1), draw_station(rng, 1)
    if quiet:
        unit = unit.model_copy(update={"start_scatter_k": 0.0})
    probe_k = float(rng.normal(0.0, PROBE_K))
    record, lift_mm = shown_by(unit, station, probe_k, steps_programme(rng), seed)
    result = analyse(record, bench_budget=BENCH)
    rows = step_rows(unit, station, result, record, lift_mm)
    found = [nearest(step.settled.element_a) for step in result.heater_steps]
    record, _ = shown_by(unit, station, probe_k, ramps_programme(), seed + 1)
    ramped = analyse(record, rated_lift_mm=RATED_LIFT_MM, bench_budget=BENCH)
    return Trial(rows + ramp_rows(unit, station, probe_k, ramped), [*CURRENTS_A] * 2, found)


def nearest(amps: float) -> float:
    """Return the current that was set where this was read."""
    return min(CURRENTS_A, key=lambda set_a: abs(set_a - amps))


def step_rows(
    unit: VirtualUnit,
    station: VirtualStation,
    result: CurveResult,
    record: CurveRecord,
    lift_mm: Floats,
) -> list[Row]:
    """Return steady lifts against the closed form, and times to open against the plant's lift."""
    rows = []
    for step in result.heater_steps:
        set_a, lift = nearest(step.settled.element_a), step.steady_lift
        if lift.value is not None and lift.expanded_uncertainty is not None:
            actual = truth.lift_mm(unit, BATH_C + station.gradient_k, truth.Power(a=set_a))
            stated = truth.lift_mm(unit, step.bath_c, truth.Power(a=step.settled.element_a))
            errors = (lift.value - actual, lift.value - stated)
            rows.append(Row("steady lift", set_a, *errors, lift.expanded_uncertainty))
        opened_s = step.response_s.get(0.1)
        if opened_s is not None:
            on = int(np.searchsorted(record.t_s, step.t_s))
            at = on + int(np.argmax(lift_mm[on:] >= 0.1))
            speed = (lift_mm[min(at + 10, len(lift_mm) - 1)] - lift_mm[at - 10]) / (20 * STEP_S)
            off = opened_s - (record.t_s[at] - step.t_s)
            what = "time to open, fast" if speed >= 0.02 else "time to open, slow"
            allowed = 2.0 if speed >= 0.02 else 0.04 / max(speed, 1e-6)
            rows.append(Row(what, set_a, off, off, allowed))
    return rows


def ramp_rows(
    unit: VirtualUnit, station: VirtualStation, probe_k: float, result: CurveResult
) -> list[Row]:
    """Return openings, full openings and closings at each current against the closed form."""
    rows = []
    for name, at_mm, true in (
        ("start_at_current_c", 0.1, truth.rising_c),
        ("full_open_at_current_c", RATED_LIFT_MM, truth.rising_c),
        ("closing_at_current_c", 0.1, truth.falling_c),
    ):
        for quantity in result.series[name]:
            set_a = nearest(quantity.at["element_a"])
            true_c = true(unit, at_mm, truth.Power(a=set_a))
            if quantity.value is not None and quantity.expanded_uncertainty and true_c is not None:
                whole = quantity.value - true_c
                own = whole - probe_k + station.gradient_k
                rows.append(Row(name, set_a, own, whole, quantity.expanded_uncertainty))
    return rows


def main() -> None:
    """Read the options, run the units, print a line per value and current."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--units", type=int, default=40)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--quiet-cycles", action="store_true")
    options = parser.parse_args()
    seeds = range(options.seed * 100_000, options.seed * 100_000 + options.units)
    with ProcessPoolExecutor() as pool:
        trials = list(pool.map(partial(trial, options.quiet_cycles), seeds))
    for set_a in CURRENTS_A:
        run = sum(t.run.count(set_a) for t in trials)
        found = sum(min(t.found.count(set_a), t.run.count(set_a)) for t in trials)
        more = sum(len(t.found) - len(t.run) for t in trials)
        print(f"steps at {set_a:.2f} A: {found} of {run} found ({more:+d} beside all)")
    rows = [row for t in trials for row in t.rows]
    for what in dict.fromkeys(row.what for row in rows):
        mine = [row for row in rows if row.what == what]
        for set_a in sorted({row.element_a for row in mine}):
            print_line(f"{what} {set_a:.2f} A", [row for row in mine if row.element_a == set_a])
        print_line(f"{what} all", mine)


def print_line(title: str, rows: Sequence[Row]) -> None:
    """Print the 95 % error at the actual state, the whole error's coverage, and the median U."""
    errors = np.array([row.error for row in rows])
    held = sum(abs(row.whole) <= row.expanded for row in rows)
    band = stats.binomtest(held, len(rows)).proportion_ci(0.95, "exact")
    print(
        f"{title:32} n {len(rows):3}  bias {errors.mean():+.3f}"
        f"  95 % {np.quantile(abs(errors), 0.95):.3f}"
        f"  within U {held / len(rows):6.1%} ({band.low:.1%} to {band.high:.1%})"
        f"  median U {np.median([row.expanded for row in rows]):.3f}"
    )


if __name__ == "__main__":
    main()
