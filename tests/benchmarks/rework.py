"""Rework advice in simulated shops, against a halving rule and a fixed rule in K per mg.

Usage: python tests/benchmarks/rework.py [--units 1000] [--shop 50] [--seed 1]

Each shop reworks units of one type of its own, which nobody knows beforehand: wax, melting curve
and expansion differ from the model element's by more than the prior's 30 % allows for in some.
Units are drawn as found (spread of melting point and wax as in the demo's population, then twice
the spread of wax; a unit that is open before a night's recorded rise has no start for any rule),
dosed with an error of 1 mg and measured on nights with their own errors. All rules see the same
units. The rule in K per mg is told the prior's mean and no more; it is run free (20 mg in one go
on the first unit of a type nobody knows) and held back as the advice is: no step above 10 mg until
ten units are known, 70 % of an increase that is larger.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np

from proofbath.proof.knowledge import Knowledge, Round
from proofbath.proof.rework import Acceptance, Action, Adviser, Unit
from proofbath.proof.rework_kind import Refillable
from proofbath.proof.rework_policy import CAUTIOUS, FIRST_SHARE, KNOWN_UNITS, LARGER_K
from proofbath.virtual.description import VirtualUnit
from proofbath.virtual.population import draw_unit
from proofbath.virtual.truth import pin_area_mm2, rising_c, volume_lift_mm

NOMINAL_C = 82.0
KIND = Refillable()
NEAR_K = 2.5
STATION_K, CYCLES = 0.06, 3
HALVING_FIRST_MG = 10.0
FIXED_K_PER_MG = -0.27
LARGEST_MG = 20.0
A_NIGHT = 6
OPEN_ALREADY_K = -12.0
"""A night's recorded rise begins there: a unit open by then has no start to be advised by."""


class Trial(NamedTuple):
    """What the shops work to: half width accepted (tolerance less U), and the spread of wax."""

    title: str
    half_k: float
    wax_sd_mg: float
    wax_share: tuple[float, float] = (0.75, 1.35)
    """Wax of the shops' types over the model element's: shift per mg goes with its inverse."""

    def inside(self, read: float) -> bool:
        """Tell whether a reading lies inside the acceptance limits."""
        return abs(read - NOMINAL_C) <= self.half_k


TRIALS = (
    Trial("tolerance 2 K, U 0.5 K", 1.5, 8.0),
    Trial("tolerance 1 K, U 0.3 K", 0.7, 8.0),
    Trial("tolerance 2 K, U 0.5 K, wax spread doubled", 1.5, 16.0),
    Trial("tolerance 1 K, U 0.3 K, types far from the prior", 0.7, 8.0, (0.45, 2.2)),
)


class State(NamedTuple):
    """A unit under rework in one rule's hands: what was measured and done, and its true wax."""

    trial: Trial
    unit: VirtualUnit
    read_c: tuple[float, ...]
    changes: tuple[float, ...] = ()


class Outcome(NamedTuple):
    """How a unit ended: rounds, inside after one and at the end, over-filled, given up."""

    needed_k: float
    rounds: int
    inside_after_one: bool
    inside: bool
    overfilled: bool
    foretold: tuple[bool, ...]


Rule = Callable[[State, int], float]
"""From a unit's state and the number of units known before it to a change in mg."""


def draw_type(rng: np.random.Generator, wax_share: tuple[float, float]) -> VirtualUnit:
    """Return a shop's type: another wax in another cup that opens at the same nominal."""
    wax_mg = 1300.0 * rng.uniform(*wax_share)
    model = VirtualUnit(
        serial="T82-MODEL",
        station=1,
        heater_ohm=0.0,
        wax_mg=wax_mg,
        melting_c=90.0 + rng.uniform(-1.0, 1.5),
        melting_width_k=4.2 * rng.uniform(0.85, 1.2),
        melt_ratio=rng.uniform(1.10, 1.13),
        cavity_mm3=1.1 * wax_mg,
    )
    above_mm = volume_lift_mm(model, NOMINAL_C) - 0.1 - model.friction_mm / 2
    cavity = model.cavity_mm3 + above_mm * pin_area_mm2(model)
    return model.model_copy(update={"cavity_mm3": cavity})


def read_c(rng: np.random.Generator, unit: VirtualUnit) -> float:
    """Return a night's start-to-open reading; the probe's own error stays the same and cancels."""
    true_c = rising_c(unit, 0.1)
    assert true_c is not None
    scatter = unit.start_scatter_k * float(rng.standard_normal()) / math.sqrt(CYCLES)
    return true_c + STATION_K * float(rng.standard_normal()) + scatter


def shift_u_k() -> float:
    """Return the standard uncertainty of as-left minus as-found that does not cancel."""
    return math.sqrt(2 * (STATION_K**2 + 0.13**2 / CYCLES))


def halving(state: State, _known: int) -> float:
    """Ten milligrams to begin with, then half the last change, towards nominal each time."""
    size = HALVING_FIRST_MG / 2.0 ** len(state.changes)
    return size if state.read_c[-1] > NOMINAL_C else -size


def fixed(state: State, _known: int) -> float:
    """What a fixed -0.27 K per mg asks for, at most 20 mg."""
    wanted = (NOMINAL_C - state.read_c[-1]) / FIXED_K_PER_MG
    return float(np.clip(round(2 * wanted) / 2, -LARGEST_MG, LARGEST_MG))


def fixed_held(state: State, known: int) -> float:
    """The same, held back by the rules of caution that the advice keeps to."""
    wanted, largest = fixed(state, known), LARGEST_MG if known >= KNOWN_UNITS else CAUTIOUS["mg"]
    larger = known < KNOWN_UNITS or abs(state.read_c[-1] - NOMINAL_C) > LARGER_K
    if wanted > CAUTIOUS["mg"] and larger:
        wanted = round(2 * FIRST_SHARE * wanted) / 2
    return float(np.clip(wanted, -largest, largest))


def reworked(rng: np.random.Generator, state: State, change: float) -> State:
    """Return a unit after a change was dosed, with its error, and the unit measured again."""
    wax_mg = state.unit.wax_mg + change + KIND.dosing_sd_mg * float(rng.standard_normal())
    unit = state.unit.model_copy(update={"wax_mg": wax_mg})
    return State(state.trial, unit, (*state.read_c, read_c(rng, unit)), (*state.changes, change))


def ended(state: State, foretold: Sequence[bool] = ()) -> Outcome:
    """Return how a unit ended; over-filled means beyond the cap after an increase."""
    over = any(
        change > 0 and after < NOMINAL_C - KIND.cap_k
        for change, after in zip(state.changes, state.read_c[1:], strict=True)
    )
    after_one = state.trial.inside(state.read_c[1]) if state.changes else False
    return Outcome(
        abs(state.read_c[0] - NOMINAL_C),
        len(state.changes),
        after_one,
        state.trial.inside(state.read_c[-1]),
        over,
        tuple(foretold),
    )


def by_rule(rng: np.random.Generator, units: Sequence[State], rule: Rule) -> list[Outcome]:
    """Rework units by a rule that learns nothing."""
    outcomes = []
    for known, state in enumerate(units):
        while not state.trial.inside(state.read_c[-1]) and len(state.changes) < KIND.most_rounds:
            state = reworked(rng, state, rule(state, known))
        outcomes.append(ended(state))
    return outcomes


def by_advice(rng: np.random.Generator, units: Sequence[State]) -> list[Outcome]:
    """Rework units night by night as advised; every night's rounds are learnt from."""
    knowledge, outcomes = Knowledge("mg", NOMINAL_C, KIND.dosing_sd_mg), list[Outcome]()
    waiting = [(state, tuple[bool, ...]()) for state in units]
    half_k = units[0].trial.half_k
    accepted = Acceptance(NOMINAL_C - half_k, NOMINAL_C + half_k)
    while waiting:
        night, waiting = waiting[:A_NIGHT], waiting[A_NIGHT:]
        adviser, rounds = Adviser(KIND, knowledge, accepted), list[Round]()
        for state, foretold in night:
            start, done = state.read_c[-1], len(state.changes)
            advice = adviser.advise(Unit(state.unit.serial, start, shift_u_k(), done))
            if advice.action is Action.GIVE_UP and laid_aside(knowledge, rounds, waiting):
                waiting.append((state, foretold))
                continue
            if advice.action in (Action.LEAVE, Action.GIVE_UP) or advice.start_c is None:
                outcomes.append(ended(state, foretold))
                continue
            after = reworked(rng, state, advice.change)
            held = advice.start_c.low <= after.read_c[-1] <= advice.start_c.high
            rounds.append(
                Round(state.unit.serial, start, advice.change, after.read_c[-1], shift_u_k())
            )
            waiting.append((after, (*foretold, held)))
        knowledge.add(rounds)
    return outcomes


def as_found(rng: np.random.Generator, trial: Trial, type_unit: VirtualUnit, serial: str) -> State:
    """Return a drawn unit that lies outside the acceptance limits as found, not open already."""
    while True:
        unit = draw_unit(rng, type_unit, serial, 1)
        wax_mg = float(rng.normal(type_unit.wax_mg, trial.wax_sd_mg))
        unit = unit.model_copy(update={"wax_mg": wax_mg})
        first = read_c(rng, unit)
        if not trial.inside(first) and first > NOMINAL_C + OPEN_ALREADY_K:
            return State(trial, unit, (first,))


def laid_aside(knowledge: Knowledge, rounds: Sequence[Round], waiting: Sequence[object]) -> bool:
    """Tell whether a unit waits until ten units are known, as the advice then says."""
    return len(knowledge.serials) < KNOWN_UNITS and bool(rounds or waiting)


def shop(trial: Trial, seed: int, size: int) -> dict[str, list[Outcome]]:
    """Run one shop's units through the three rules; only units outside the limits are reworked."""
    rng = np.random.default_rng(seed)
    type_unit = draw_type(rng, trial.wax_share)
    units = [as_found(rng, trial, type_unit, f"T82-{seed}-{n + 1}") for n in range(size)]
    return {
        "advice": by_advice(np.random.default_rng([seed, 1]), units),
        "halving rule": by_rule(np.random.default_rng([seed, 1]), units, halving),
        "fixed, held back": by_rule(np.random.default_rng([seed, 1]), units, fixed_held),
        "fixed -0.27 K/mg": by_rule(np.random.default_rng([seed, 1]), units, fixed),
    }


def print_table(title: str, outcomes: dict[str, list[Outcome]]) -> None:
    """Print one row a rule."""
    print(f"{title}: {len(next(iter(outcomes.values())))} units")
    print(f"  {'rule':18}{'in after 1':>11}{'in at end':>11}{'rounds':>8}", end="")
    print(f"{'over-filled':>13}{'cost':>7}")
    for name, rows in outcomes.items():
        over = sum(row.overfilled for row in rows)
        print(
            f"  {name:18}{np.mean([r.inside_after_one for r in rows]):11.1%}"
            f"{np.mean([r.inside for r in rows]):11.1%}{np.mean([r.rounds for r in rows]):8.2f}"
            f"{over:13d}{np.mean([cost(r) for r in rows]):7.1f}"
        )


def cost(row: Outcome) -> float:
    """Return what a unit cost: its rounds, and what a lost one costs."""
    lost = KIND.overfill_cost if row.overfilled else 0.0 if row.inside else KIND.give_up_cost
    return row.rounds * KIND.round_cost + lost


def main() -> None:
    """Read the options, run the shops and print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--units", type=int, default=1000)
    parser.add_argument("--shop", type=int, default=50)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    for trial in TRIALS:
        run_trial(trial, options.units, options.shop, options.seed)


def run_trial(trial: Trial, units: int, size: int, seed: int) -> None:
    """Run the shops of one trial and print its tables."""
    found: dict[str, list[Outcome]] = {}
    for number in range(units // size):
        for name, rows in shop(trial, seed * 1000 + number, size).items():
            found.setdefault(name, []).extend(rows)
    near = {n: [r for r in rows if r.needed_k <= NEAR_K] for n, rows in found.items()}
    far = {n: [r for r in rows if r.needed_k > NEAR_K] for n, rows in found.items()}
    print(f"\n{trial.title}")
    print_table(f"need {NEAR_K:g} K at most", near)
    print_table(f"need more than {NEAR_K:g} K", far)
    held = [held for row in found["advice"] for held in row.foretold]
    print(f"as-left inside the 95 % interval foretold: {np.mean(held):.1%} of {len(held)} rounds")


if __name__ == "__main__":
    main()
