"""Rework advice: how much to change on a unit, what it will do, and whether it is worth it."""

from __future__ import annotations

import math
from enum import StrEnum
from typing import NamedTuple

import numpy as np
from scipy.special import ndtr

from proofbath.errors import InputError
from proofbath.proof.knowledge import Knowledge
from proofbath.proof.rework_kind import Refillable, Sealed, Setting
from proofbath.proof.rework_policy import (
    COSTS,
    EDGES_K,
    KNOWN_UNITS,
    Costs,
    Policy,
    mean_needed,
    step_limits,
)

Floats = np.ndarray
SURE_CHANCE = 0.9


class Action(StrEnum):
    """What to do with a unit."""

    LEAVE = "leave"
    CHANGE = "change"
    CHANGE_AND_MEASURE = "change, the rest after measuring"
    GIVE_UP = "give up"


class Unit(NamedTuple):
    """A measured unit: start-to-open and lift, with what does not cancel against the next run."""

    serial: str
    start_c: float
    u_shift_k: float
    rounds_done: int = 0
    lift_mm: float | None = None
    u_lift_mm: float = 0.05


class Acceptance(NamedTuple):
    """Acceptance limits, guard band taken off: start-to-open in °C and, if any, lift in mm."""

    lower_c: float
    upper_c: float
    lower_lift_mm: float | None = None
    upper_lift_mm: float | None = None


class Predicted(NamedTuple):
    """What the next run will read: mean and 95 % interval."""

    mean: float
    low: float
    high: float


class Advice(NamedTuple):
    """What to do, what it will do, and at what chance and cost; changes in mg or mm, + for more.

    `planned` are all rounds as foreseen now, the first being `change`; every later one is advised
    anew after measuring. `chance_inside` takes start and lift as independent, which understates it.
    """

    action: Action
    reason: str
    change: float = 0.0
    planned: tuple[float, ...] = ()
    start_c: Predicted | None = None
    lift_mm: Predicted | None = None
    chance_inside: float | None = None
    expected_cost: float | None = None


class Adviser:
    """Advice for units of one type, from its knowledge, limits and costs.

    Make a new one after the knowledge has grown: the costs to come are worked out once.
    """

    def __init__(
        self,
        kind: Refillable | Setting | Sealed,
        knowledge: Knowledge | None,
        acceptance: Acceptance,
        costs: Costs = COSTS,
    ) -> None:
        if acceptance.lower_c >= acceptance.upper_c:
            raise InputError(
                f"acceptance limits {acceptance.lower_c:g} to {acceptance.upper_c:g} °C leave no"
                " room: the guard band is too wide for the tolerance"
            )
        self.kind = kind
        self.costs = costs._replace(overfill_cost=0.0) if isinstance(kind, Setting) else costs
        self.knowledge = knowledge
        self.acceptance = acceptance
        self._policy: Policy | None = None

    def advise(self, unit: Unit) -> Advice:
        """Return the advice of least expected cost for a unit."""
        if self._inside(unit):
            return Advice(Action.LEAVE, "inside the acceptance limits", expected_cost=0.0)
        kind, knowledge = self.kind, self.knowledge
        if isinstance(kind, Sealed) or knowledge is None:
            return self._give_up("a sealed unit is measured only")
        if unit.rounds_done >= self.costs.most_rounds:
            return self._give_up(
                f"{unit.rounds_done} rounds done, at most {self.costs.most_rounds}"
            )
        off = unit.start_c - knowledge.nominal_c
        if not EDGES_K[0] < off < EDGES_K[-1]:
            return self._give_up(f"opens {off:+.1f} K from nominal: beyond what can be foretold")
        return self._least_cost(kind, knowledge, unit)

    def _inside(self, unit: Unit) -> bool:
        limits = self.acceptance
        if not limits.lower_c <= unit.start_c <= limits.upper_c:
            return False
        lift = unit.lift_mm
        return lift is None or (
            (limits.lower_lift_mm is None or lift >= limits.lower_lift_mm)
            and (limits.upper_lift_mm is None or lift <= limits.upper_lift_mm)
        )

    def _give_up(self, reason: str) -> Advice:
        return Advice(Action.GIVE_UP, reason, expected_cost=self.costs.give_up_cost)

    def _least_cost(self, kind: Refillable | Setting, knowledge: Knowledge, unit: Unit) -> Advice:
        policy = self._policy_for(kind, knowledge, unit.u_shift_k)
        options = _Options(policy, knowledge, unit)
        lifts = self._lift_chance(knowledge, unit, options.changes)
        lift_at_last = self._lift_chance(knowledge, unit, np.array([options.needed]))
        chances = options.inside * lifts
        left = self.costs.most_rounds - unit.rounds_done
        costs = policy.cost_of_going(options.masses, options.changes, policy.costs[left - 1])
        # a start that comes right with a wrong lift is a unit lost: now, or at the last round
        lost = options.inside * (1 - lifts) + (1 - options.inside) * (1 - lift_at_last)
        costs = costs + lost * self.costs.give_up_cost
        costs[options.refused] = math.inf
        best = int(np.argmin(costs))
        if not costs[best] < self.costs.give_up_cost:
            held = (
                f"; steps are held to {policy.largest:g} {kind.unit} until {KNOWN_UNITS} units of"
                " the type are known: lay the unit aside and ask again then"
            )
            reason = f"the best change would cost {costs[best]:.0f} on average"
            known = len(knowledge.serials) >= KNOWN_UNITS
            return self._give_up(reason if known else reason + held)
        change = float(options.changes[best])
        planned = _planned(
            policy, options, change, float(options.means[best]), float(chances[best]), left
        )
        several = len(planned) > 1
        mean_k, slope_k = float(options.needed), knowledge.slope()[0]
        return Advice(
            Action.CHANGE_AND_MEASURE if several else Action.CHANGE,
            f"about {mean_k:+.3g} {kind.unit} needed at {slope_k:+.3g} K per {kind.unit} near"
            f" nominal, {len(knowledge.serials)} units known",
            change,
            planned,
            options.predicted(best),
            self._predicted_lift(knowledge, unit, change),
            float(chances[best]),
            float(costs[best]),
        )

    def _policy_for(
        self, kind: Refillable | Setting, knowledge: Knowledge, u_shift_k: float
    ) -> Policy:
        """Return the cost to come, kept until another uncertainty is asked for."""
        if self._policy is None or self._policy.u_shift_k != u_shift_k:
            nominal = knowledge.nominal_c
            limits = (self.acceptance.lower_c - nominal, self.acceptance.upper_c - nominal)
            self._policy = Policy(kind, knowledge, limits, u_shift_k, self.costs)
        return self._policy

    def _lift_chance(self, knowledge: Knowledge, unit: Unit, changes: Floats) -> Floats:
        low, high = self.acceptance.lower_lift_mm, self.acceptance.upper_lift_mm
        if unit.lift_mm is None or (low is None and high is None):
            return np.ones_like(changes)
        mean, sd = _lift_after(knowledge, unit, changes)
        below = 1.0 if high is None else ndtr((high - mean) / sd)
        return np.asarray(below - (0.0 if low is None else ndtr((low - mean) / sd)))

    def _predicted_lift(self, knowledge: Knowledge, unit: Unit, change: float) -> Predicted | None:
        if unit.lift_mm is None:
            return None
        mean, sd = (float(x[0]) for x in _lift_after(knowledge, unit, np.array([change])))
        return Predicted(mean, mean - 1.96 * sd, mean + 1.96 * sd)


def _lift_after(knowledge: Knowledge, unit: Unit, changes: Floats) -> tuple[Floats, Floats]:
    effect, effect_sd = knowledge.lift_effect()
    mean = (unit.lift_mm or 0.0) + effect * changes
    dose = effect * knowledge.dose_sd
    return mean, np.sqrt((effect_sd * changes) ** 2 + dose**2 + unit.u_lift_mm**2)


class _Options:
    """Every change of one round on one unit, with where it may land."""

    def __init__(self, policy: Policy, knowledge: Knowledge, unit: Unit) -> None:
        kind = policy.kind
        self.step = step = kind.step_mg if isinstance(kind, Refillable) else kind.step_mm
        steps = np.arange(-math.floor(policy.largest / step), math.floor(policy.largest / step) + 1)
        self.nominal_c = knowledge.nominal_c
        self.changes: Floats = step * steps.astype(float)
        self.nodes = knowledge.nodes(unit.serial)
        start = np.full_like(self.changes, unit.start_c - self.nominal_c)
        after, slopes, self.weights = self.nodes.landings(start, self.changes)
        self.after = after
        self.sd = np.hypot(unit.u_shift_k, slopes * knowledge.dose_sd)
        self.means: Floats = after @ self.weights
        self.needed = float(mean_needed(self.nodes, start[:1], policy.target_k)[0])
        below = np.array([self._below(edge) for edge in EDGES_K]).T
        below[:, 0], below[:, -1] = 0.0, 1.0
        self.masses: Floats = np.diff(below, axis=1)
        low, high = policy.acceptance_k
        self.inside: Floats = self._below(high) - self._below(low)
        beyond = self._below(-policy.prices.cap_k)
        self.refused: Floats = policy.refused(start, self.changes, np.array(self.needed))
        self.refused |= policy.overfills(start, self.changes, beyond)

    def _below(self, start_k: float) -> Floats:
        return np.asarray(ndtr((start_k - self.after) / self.sd) @ self.weights)

    def predicted(self, number: int) -> Predicted:
        """Return what the next run will read after a change, with its 95 % interval."""
        after, sd = self.after[number], self.sd[number]
        grid = np.linspace(float(np.min(after - 5 * sd)), float(np.max(after + 5 * sd)), 800)
        below = ndtr((grid[:, None] - after) / sd) @ self.weights
        low, high = np.interp([0.025, 0.975], below, grid)
        nominal = self.nominal_c
        return Predicted(
            nominal + float(self.means[number]), nominal + float(low), nominal + float(high)
        )


def _planned(
    policy: Policy,
    options: _Options,
    change: float,
    landing_k: float,
    chance: float,
    left: int,
) -> tuple[float, ...]:
    """Return all rounds as foreseen: until inside, and two at least for a larger, unsure shift."""
    rounds, start = [change], landing_k
    low, high = policy.acceptance_k
    unsure = abs(options.needed) > policy.cautious and chance < SURE_CHANCE
    least_rounds = 2 if unsure else 1
    while len(rounds) < left and (len(rounds) < least_rounds or not low <= start <= high):
        needed = mean_needed(options.nodes, np.array([start]), policy.target_k)
        shift_k = policy.target_k - start
        least, most = step_limits(needed, shift_k, policy.largest, policy.cautious)
        step = np.clip(needed, least, most)
        after, _, weights = options.nodes.landings(np.array([start]), step)
        start = float((after @ weights)[0])
        rounds.append(options.step * round(float(step[0]) / options.step))
    return tuple(rounds)
