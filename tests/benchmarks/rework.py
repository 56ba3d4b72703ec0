"""Trim advice in simulated shops, beside the 1.0.0 rule and an oracle that knows each element.

Usage: python tests/benchmarks/rework.py [--units 1000] [--seed 1] [--only WORD]

A unit is to have 2 mm of lift up to 12 K colder. Every rule meets the same units, the same errors
of balance (1 mg) and closing (0.2 mm of lift), and may open a unit three times. The oracle knows
the element, the metal powder in its fill and in the donor's, and does the same kind of act. The
1.0.0 rule adds wax as the release of that number advised, aimed at as large a shift of the start.
"with no history" a unit is the first of its type; "10 known" a shop has reworked ten before.
"by balance alone" nobody reads how far the cold pin stands out before closing.
"""

from __future__ import annotations

import argparse
import math
import time
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from scipy.optimize import brentq
from shops.first_knowledge import Knowledge, Round
from shops.first_policy import Prices
from shops.first_rule import UNIT, Action, Adviser, Unit
from shops.rework_units import (
    AT_MM,
    HEATED,
    ODD,
    PLAIN,
    U_BATH_K,
    Bench,
    Population,
    Type,
    curve_of,
    done,
    donor_of,
    draw_bench,
    draw_type,
    fill_of,
    slips,
)

from proofbath.proof.lift_curve import COLD_C, LiftCurve
from proofbath.proof.trim_act import Act, Donor
from proofbath.proof.trim_advice import Cause, TrimAction, TrimAdviser
from proofbath.proof.trim_knowledge import TrimKnowledge, TrimRound
from proofbath.proof.trim_policy import LARGE_K, MOST_SHARE, Means, Target, TrimUnit
from proofbath.virtual.truth import rising_c, volume_lift_mm

HALF_K, GUARD_K = 2.0, 0.25
ROUNDS = 3
FARTHEST_K = 12.0
KNOWN = 10
SHOP = 50


class Case(NamedTuple):
    """One unit with its order."""

    number: int
    bench: Bench
    wanted_c: float
    donor: Donor


class Outcome(NamedTuple):
    """How a unit stood after each round, and what was foretold of it."""

    off_k: tuple[float, ...]
    open_cold: bool = False
    given_up: Cause | None = None
    foretold: tuple[tuple[str, bool], ...] = ()


Learn = Callable[[TrimRound], None]


def draw_case(rng: np.random.Generator, of: Type, number: int) -> Case:
    """Return a unit of a type and how far it is to be lowered."""
    bench = draw_bench(rng, of, f"u{number}")
    wanted = bench.wax_at_2_mm_c - rng.uniform(1.0, FARTHEST_K)
    return Case(number, bench, wanted, donor_of(rng, bench))


def by_advice(
    seed: int, case: Case, knowledge: TrimKnowledge, reads_pin: bool, learn: Learn
) -> Outcome:
    """Rework one unit as advised, until inside, given up or out of rounds."""
    rng = np.random.default_rng([seed, case.number, 77])
    target = Target(
        case.wanted_c, case.wanted_c - HALF_K + GUARD_K, case.wanted_c + HALF_K - GUARD_K, AT_MM
    )
    means = Means(donors=(case.donor,), reads_pin=reads_pin)
    adviser = TrimAdviser(knowledge, means, target)
    bench, off, foretold, cold = case.bench, list[float](), list[tuple[str, bool]](), False
    curve, donor = curve_of(rng, bench, knowledge.shape_logs), case.donor
    spread_k, fill = None, fill_of(bench)
    for number in range(ROUNDS):
        if curve is None:
            break
        adviser.means = means._replace(donors=(donor,))
        unit = TrimUnit(case.bench.unit.serial, curve, fill, number, None, spread_k)
        advice = adviser.advise(unit)
        if advice.action is TrimAction.GIVE_UP:
            return Outcome(_filled(off, case, bench), cold, advice.cause, tuple(foretold))
        if advice.act is None or advice.forecast is None:
            break
        made = done(bench, advice.act, slips(seed, case.number, number), reads_pin)
        spread_k = spread_k or _spread_k(curve)
        before, bench = curve, made.bench
        off.append(bench.wax_at_2_mm_c - case.wanted_c)
        cold |= bench.open_cold
        curve = curve_of(rng, bench, knowledge.shape_logs)
        if curve is None:
            foretold.append(("2 mm", False))
            break
        for mm, told in advice.forecast.temperature_c:
            if told is not None and curve.measured_mm[0] - 0.06 <= mm <= curve.measured_mm[1]:
                read = float(curve.weights @ curve.temperature_c(mm))
                foretold.append((f"{mm:g} mm", told.low <= read <= told.high))
        shut = volume_lift_mm(bench.unit, COLD_C) - bench.unit.friction_mm / 2
        told = advice.forecast.cold_mm
        foretold.append(("cold", told.low <= shut <= told.high))
        learn(TrimRound(unit.serial, before, curve, made.act, fill, made.stick_out_mm))
        shift = knowledge.expected(made.act._replace(pin_stick_out_mm=None), fill).shift_k
        left_k = donor.full_shift_k - float(np.mean(shift))
        donor = donor._replace(full_shift_k=left_k)
        fill = fill.after(made.act)
    return Outcome(_filled(off, case, bench), cold, None, tuple(foretold))


def _spread_k(curve: LiftCurve) -> float:
    return float(curve.weights @ (curve.temperature_c(AT_MM) - curve.temperature_c(0.1)))


def _filled(off: list[float], case: Case, bench: Bench) -> tuple[float, ...]:
    last = off[-1] if off else bench.wax_at_2_mm_c - case.wanted_c
    return tuple((off + [last] * ROUNDS)[:ROUNDS])


def by_oracle(seed: int, case: Case) -> Outcome:
    """Rework one unit by its truth: the same acts, the same slips."""
    bench, off, cold = case.bench, list[float](), False
    for number in range(ROUNDS):
        miss = bench.wax_at_2_mm_c - case.wanted_c
        if abs(miss) <= HALF_K - GUARD_K:
            break
        act = _true_act(bench, case, large=miss > LARGE_K)
        bench = done(bench, act, slips(seed, case.number, number)).bench
        off.append(bench.wax_at_2_mm_c - case.wanted_c)
        cold |= bench.open_cold
    return Outcome(_filled(off, case, bench), cold)


def _true_act(bench: Bench, case: Case, large: bool) -> Act:
    none = slips(0, 0, 0)._replace(out=0.0, given=0.0, pin=0.0, closing=0.0)

    def miss(act: Act) -> float:
        return done(bench, act, none).bench.wax_at_2_mm_c - case.wanted_c

    def exchange(share: float) -> Act:
        out = share * bench.fill_mg
        own, given = bench.copper_mg / bench.fill_mg, bench.of.donor_filler
        in_mg = out * (1 - own + 0.0962 * own) / (1 - given + 0.0962 * given)
        return Act(out, in_mg, case.donor.source, case.donor)

    if large:
        full = exchange(MOST_SHARE)
        if miss(full) > 0:
            return full
        return exchange(float(brentq(lambda s: miss(exchange(s)), 1e-3, MOST_SHARE, xtol=1e-4)))

    def trim(mg: float) -> Act:
        return Act(mass_in_mg=mg) if mg > 0 else Act(mass_out_mg=-mg)

    most = 150.0
    while most > 1.0 and not miss(trim(-most)) > 0 > miss(trim(most)):
        most *= 0.8
    return trim(float(brentq(lambda x: miss(trim(x)), -most, most, xtol=0.01)))


def by_first_rule(seed: int, case: Case) -> Outcome:
    """Rework one unit as release 1.0.0 advised: by its start, with clean wax, no history."""
    rng = np.random.default_rng([seed, case.number, 77])
    kind, bench, off, cold = Prices(most_rounds=ROUNDS), case.bench, list[float](), False
    start = rising_c(bench.unit, 0.1)
    assert start is not None
    nominal = start - (bench.wax_at_2_mm_c - case.wanted_c)
    knowledge = Knowledge(nominal, kind.dosing_sd_mg)
    limits = (nominal - HALF_K + GUARD_K, nominal + HALF_K - GUARD_K)
    read = start + U_BATH_K * float(rng.standard_normal())
    for number in range(ROUNDS):
        asked = Unit(read, math.sqrt(2) * U_BATH_K, number)
        advice = Adviser(kind, knowledge, limits).advise(asked)
        if advice.action is Action.GIVE_UP:
            return Outcome(_filled(off, case, bench), cold, Cause.PRICE)
        if advice.action is Action.LEAVE:
            break
        change = advice.change
        act = Act(mass_in_mg=change) if change > 0 else Act(mass_out_mg=-change)
        bench = done(bench, act, slips(seed, case.number, number)).bench
        off.append(bench.wax_at_2_mm_c - case.wanted_c)
        cold |= bench.open_cold
        start = rising_c(bench.unit, 0.1)
        assert start is not None
        after = start + U_BATH_K * float(rng.standard_normal())
        knowledge.add([Round(UNIT, read, change, after, math.sqrt(2) * U_BATH_K)])
        read = after
    return Outcome(_filled(off, case, bench), cold)


def no_history(population: Population, units: int, seed: int, reads_pin: bool) -> Rows:
    """Return outcomes of units each of which is the first of its type."""
    rng = np.random.default_rng([seed, 1])
    cases = [draw_case(rng, draw_type(rng, population), n) for n in range(units)]
    advised = []
    for case in cases:
        knowledge = TrimKnowledge()
        advised.append(
            by_advice(seed, case, knowledge, reads_pin, lambda r, k=knowledge: k.add([r]))  # type: ignore[misc]
        )
    return {
        "advice": advised,
        "oracle": [by_oracle(seed, case) for case in cases],
        "1.0.0 rule": [by_first_rule(seed, case) for case in cases],
    }


def ten_known(population: Population, units: int, seed: int, reads_pin: bool) -> Rows:
    """Return outcomes of units in shops that have reworked ten of the type before."""
    rng = np.random.default_rng([seed, 2])
    found: Rows = {"advice": [], "oracle": []}
    for shop in range(max(units // SHOP, 1)):
        of, knowledge = draw_type(rng, population), TrimKnowledge()
        for number in range(KNOWN):
            case = draw_case(rng, of, 1000 * shop + number)
            by_advice(seed, case, knowledge, reads_pin, lambda r, k=knowledge: k.add([r]))  # type: ignore[misc]
        for number in range(min(SHOP, units)):
            case = draw_case(rng, of, 1000 * shop + KNOWN + number)
            found["advice"].append(by_advice(seed, case, knowledge, reads_pin, lambda _: None))
            found["oracle"].append(by_oracle(seed, case))
    return found


Rows = dict[str, list[Outcome]]


def print_rows(title: str, found: Rows, taken_s: float) -> None:
    """Print one row a rule, and how often what was foretold came true."""
    print(f"\n{title}: {len(found['advice'])} units, {taken_s:.0f} s")
    print(f"  {'rule':12}{'in after 1':>11}{'after 2':>9}{'after 3':>9}", end="")
    print(f"{'open cold':>11}{'given up':>10}")
    for name, rows in found.items():
        inside = [np.mean([abs(r.off_k[n]) <= HALF_K for r in rows]) for n in range(ROUNDS)]
        cold = sum(r.open_cold for r in rows)
        given_up = np.mean([r.given_up is not None for r in rows])
        print(f"  {name:12}{inside[0]:11.1%}{inside[1]:9.1%}{inside[2]:9.1%}", end="")
        print(f"{cold:11d}{given_up:10.1%}")
    held: dict[str, list[bool]] = {}
    for row in found["advice"]:
        for what, true in row.foretold:
            held.setdefault(what, []).append(true)
    told = ", ".join(f"{what} {np.mean(x):.1%} of {len(x)}" for what, x in sorted(held.items()))
    print(f"  inside the 95 % interval foretold: {told}")
    causes = [r.given_up for r in found["advice"] if r.given_up is not None]
    if causes:
        print(f"  given up for: {', '.join(sorted(set(causes)))}")


def main() -> None:
    """Read the options, run the shops and print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--units", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", default="", help="rows whose title holds this word")
    options = parser.parse_args()
    for population in (PLAIN, HEATED, ODD):
        for history, run in (("with no history", no_history), ("10 known", ten_known)):
            for how, reads_pin in (("filled by the pin", True), ("by balance alone", False)):
                title = f"{population.title}, {history}, {how}"
                if options.only not in title:
                    continue
                began = time.monotonic()
                found = run(population, options.units, options.seed, reads_pin)
                print_rows(title, found, time.monotonic() - began)


if __name__ == "__main__":
    main()
