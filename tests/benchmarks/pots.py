"""Heated units measured by hand in a pot: how often the stated intervals hold.

Run with `python tests/benchmarks/pots.py [--pots 500] [--seed 1]`. Each pot draws a unit with a law
of its film, its water, the errors of thermometer, lift tool and meters as their usual figures say,
and takes current steps in boiling water and one rise under the strongest current, or two rises. It
prints coverage and median U of the steady lifts, of the current that just opens, and of the start
drawn to no power. Lifts are the element model's in balance; a rise reads them 15 to 31 s late.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import unpowered
from scipy import stats

from proofbath.control.boiling import saturation_c
from proofbath.curve.hand_instruments import (
    HandSetup,
    Heater,
    LiftKind,
    ThermometerKind,
    usual_lift_tool,
    usual_thermometer,
)
from proofbath.curve.hand_record import HandPoint
from proofbath.curve.hand_result import analyse_hand
from proofbath.curve.result import Quantity
from proofbath.virtual import truth
from proofbath.virtual.description import VirtualUnit

THERMOMETERS: tuple[ThermometerKind, ...] = ("resistance", "glass", "kitchen")
TOOLS: tuple[LiftKind, ...] = ("dial", "caliper")
STEPS_A = (0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)
MOST_LIFT_MM = 6.0
ZERO_MM = 40.0


class Pot(NamedTuple):
    """One drawn pot: its unit, what is wrong with its instruments, and its water."""

    rng: np.random.Generator
    unit: VirtualUnit
    setup: HandSetup
    thermometer_off_k: float
    meter_gain: float
    lead_ohm: float

    def seen_c(self, true_c: float) -> float:
        """Return what the thermometer shows."""
        step = self.setup.thermometer.resolution_k
        return round((true_c + self.thermometer_off_k) / step) * step

    def seen_mm(self, lift_mm: float) -> float:
        """Return what the lift tool shows."""
        tool = self.setup.lift_tool
        shown = ZERO_MM + lift_mm + tool.expanded_u_mm / 2 * self.rng.standard_normal()
        return round(shown / tool.resolution_mm) * tool.resolution_mm

    def place_k(self) -> float:
        """Return how the water at the unit differs from that at the thermometer."""
        return float(self.rng.uniform(-0.4, 0.4))

    def lift_mm(self, bath_c: float, current_a: float, scatter_k: float) -> float:
        """Return the rising lift of the unit in this cycle."""
        unit = self.unit.model_copy(update={"melting_c": self.unit.melting_c + scatter_k})
        return truth.lift_mm(unit, bath_c, truth.Power(a=current_a))

    def volts(self, current_a: float) -> float:
        """Return what the supply shows; meters read by their gain."""
        return current_a * (self.unit.heater_ohm + self.lead_ohm) * self.meter_gain

    def scatter_k(self) -> float:
        """Return how much later this cycle opens."""
        return float(self.unit.start_scatter_k * self.rng.standard_normal())


def draw_pot(rng: np.random.Generator) -> Pot:
    """Draw a pot; a unit's heater is the same hot as cold, as a hand's ohmmeter would have it."""
    law = str(rng.choice(list(unpowered.LAWS)))
    unit = unpowered.draw(rng, law).model_copy(update={"heater_per_k": 0.0})
    unit = unit.model_copy(update={"melting_c": unit.melting_c + rng.uniform(0.0, 4.0)})
    thermometer = usual_thermometer(THERMOMETERS[rng.integers(len(THERMOMETERS))])
    tool = usual_lift_tool(TOOLS[rng.integers(len(TOOLS))])
    setup = HandSetup(thermometer=thermometer, lift_tool=tool, heater=Heater())
    return Pot(
        rng,
        unit,
        setup,
        float(rng.normal(0.0, thermometer.expanded_u_k / 2)),
        float(rng.normal(1.0, 0.01)),
        float(rng.normal(0.2, 0.1)),
    )


def steps_in_boiling_water(pot: Pot, begins_s: float) -> tuple[list[HandPoint], float]:
    """Return readings of currents set upwards, two equal ones each, and the water as typed."""
    boiling_c = saturation_c(pot.rng.uniform(97.0, 102.0))
    seen_c, at_unit_c = pot.seen_c(boiling_c), boiling_c + pot.place_k()
    scatter_k, t_s = pot.scatter_k(), begins_s
    points = [HandPoint(t_s, 60.0, pot.seen_mm(0.0), 0.0)]
    t_s += 1800.0
    idle_mm = pot.lift_mm(at_unit_c, 0.0, scatter_k)
    points.append(HandPoint(t_s, seen_c, pot.seen_mm(idle_mm), 0.0))
    for current_a in STEPS_A:
        lift_mm = pot.lift_mm(at_unit_c, current_a, scatter_k)
        seen_mm = pot.seen_mm(lift_mm)
        for _ in range(2):
            t_s += 130.0
            volts = pot.volts(current_a)
            points.append(HandPoint(t_s, seen_c, seen_mm, current_a * pot.meter_gain, volts))
        if lift_mm > MOST_LIFT_MM:
            break
    return points, seen_c


def powered_rise(pot: Pot, current_a: float, begins_s: float) -> list[HandPoint]:
    """Return readings every kelvin of a rise under a current, from the shut valve on."""
    opens_c = truth.rising_c(pot.unit, 0.1, truth.Power(a=current_a))
    assert opens_c is not None
    rate = pot.rng.uniform(0.5, 1.5) / 60
    lag_s, place_k, scatter_k = pot.rng.normal(23.0, 4.0), pot.place_k(), pot.scatter_k()
    first_c = opens_c - 12.0 + pot.rng.uniform(0.0, 1.0)
    points = []
    for n in range(18):
        true_c = first_c + n
        seen_c = pot.seen_c(true_c - rate * pot.setup.thermometer.lag_s)
        lift_mm = pot.lift_mm(true_c + place_k - rate * lag_s, current_a, scatter_k)
        t_s = begins_s + n / rate
        seen_a, volts = current_a * pot.meter_gain, pot.volts(current_a)
        points.append(HandPoint(t_s, seen_c, pot.seen_mm(lift_mm), seen_a, volts))
    return points


Held = tuple[float, float]
"""(error, U)"""


def held(quantity: Quantity, true: float) -> Held | None:
    """Return error and U of a quantity, None where it is null."""
    if quantity.value is None or quantity.expanded_uncertainty is None:
        return None
    return quantity.value - true, quantity.expanded_uncertainty


def with_steps(pot: Pot) -> dict[str, list[Held | None]]:
    """Measure a pot by steps in boiling water and one rise."""
    points, seen_c = steps_in_boiling_water(pot, 0.0)
    points += powered_rise(pot, 1.0, points[-1].t_s + 3600.0)
    result = analyse_hand(points, pot.setup)
    lifts: list[Held | None] = []
    for step in result.steps:
        true_a = step.element_a / pot.meter_gain
        lifts.append(held(step.steady_mm, pot.lift_mm(seen_c, true_a, 0.0)))
    true_c = truth.rising_c(pot.unit, 0.1)
    assert true_c is not None
    just_a = 0.0
    if true_c > seen_c:
        just_a = math.sqrt(unpowered.opening_w(pot.unit, seen_c) / pot.unit.heater_ohm)
    return {
        "steady lift, mm": lifts,
        "current that just opens, A": [held(result.opening_current_a, just_a)],
        "unpowered start, steps and a rise, K": [held(result.unpowered_start_to_open_c, true_c)],
    }


def with_rises(pot: Pot) -> dict[str, list[Held | None]]:
    """Measure a pot by two powered rises."""
    points = powered_rise(pot, 0.5, 0.0)
    points += powered_rise(pot, 0.8, points[-1].t_s + 3600.0)
    result = analyse_hand(points, pot.setup)
    true_c = truth.rising_c(pot.unit, 0.1)
    assert true_c is not None
    found = held(result.unpowered_start_to_open_c, true_c)
    return {"unpowered start, two rises, K": [found]}


def main() -> None:
    """Read the options, draw the pots, print a line a quantity."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--pots", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    found: dict[str, list[Held | None]] = {}
    for n in range(options.pots):
        pot = draw_pot(np.random.default_rng([options.seed, n]))
        for name, rows in {**with_steps(pot), **with_rises(pot)}.items():
            found.setdefault(name, []).extend(rows)
    for name, rows in found.items():
        print_line(name, rows)


def print_line(title: str, rows: Sequence[Held | None]) -> None:
    """Print coverage with its band, median U, bias and nulls."""
    whole = np.array([row for row in rows if row is not None])
    count = int(np.sum(np.abs(whole[:, 0]) <= whole[:, 1]))
    band = stats.binomtest(count, len(whole)).proportion_ci(0.95, "exact")
    print(
        f"{title:38} coverage {count / len(whole):6.1%} ({band.low:.0%} to {band.high:.0%})"
        f"  median U {np.median(whole[:, 1]):.2f}  bias {whole[:, 0].mean():+.3f}"
        f"  95 % error {np.quantile(np.abs(whole[:, 0]), 0.95):.2f}"
        f"  nulls {1 - len(whole) / len(rows):.1%} of {len(rows)}"
    )


if __name__ == "__main__":
    main()
