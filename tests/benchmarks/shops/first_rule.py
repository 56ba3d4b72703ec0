"""The rule of release 1.0.0: wax by the start-to-open alone, of least expected cost."""

from __future__ import annotations

import math
from enum import StrEnum
from typing import NamedTuple

import numpy as np
from scipy.special import ndtr
from shops.first_knowledge import Knowledge
from shops.first_policy import EDGES_K, Policy, Prices, mean_needed

Floats = np.ndarray

UNIT = "u"
"""Each shop of the benchmark has one unit."""


class Action(StrEnum):
    """What to do with a unit."""

    LEAVE = "leave"
    CHANGE = "change"
    GIVE_UP = "give up"


class Unit(NamedTuple):
    """A measured unit: start-to-open, with what does not cancel against the next run."""

    start_c: float
    u_shift_k: float
    rounds_done: int = 0


class Advice(NamedTuple):
    """What to do; the change in mg, + for more."""

    action: Action
    change: float = 0.0


class Adviser:
    """Advice for one unit by its start, from what was learnt and prices."""

    def __init__(
        self, kind: Prices, knowledge: Knowledge, acceptance_c: tuple[float, float]
    ) -> None:
        self.kind, self.knowledge, self.acceptance_c = kind, knowledge, acceptance_c
        self._policy: Policy | None = None

    def advise(self, unit: Unit) -> Advice:
        """Return the advice of least expected cost for a unit."""
        low_c, high_c = self.acceptance_c
        if low_c <= unit.start_c <= high_c:
            return Advice(Action.LEAVE)
        off = unit.start_c - self.knowledge.nominal_c
        if unit.rounds_done >= self.kind.most_rounds or not EDGES_K[0] < off < EDGES_K[-1]:
            return Advice(Action.GIVE_UP)
        policy = self._policy_for(self.kind, self.knowledge, unit.u_shift_k)
        options = _Options(policy, self.knowledge, unit)
        left = self.kind.most_rounds - unit.rounds_done
        costs = policy.cost_of_going(options.masses, options.changes, policy.costs[left - 1])
        costs[options.refused] = math.inf
        best = int(np.argmin(costs))
        if not costs[best] < self.kind.give_up_cost:
            return Advice(Action.GIVE_UP)
        return Advice(Action.CHANGE, float(options.changes[best]))

    def _policy_for(self, kind: Prices, knowledge: Knowledge, u_shift_k: float) -> Policy:
        """Return the cost to come, kept until another uncertainty is asked for."""
        if self._policy is None or self._policy.u_shift_k != u_shift_k:
            nominal = knowledge.nominal_c
            limits = (self.acceptance_c[0] - nominal, self.acceptance_c[1] - nominal)
            self._policy = Policy(kind, knowledge, limits, u_shift_k)
        return self._policy


class _Options:
    """Every change of one round on one unit, with where it may land."""

    def __init__(self, policy: Policy, knowledge: Knowledge, unit: Unit) -> None:
        kind = policy.kind
        step = kind.step_mg
        steps = np.arange(-math.floor(policy.largest / step), math.floor(policy.largest / step) + 1)
        self.nominal_c = knowledge.nominal_c
        self.changes: Floats = step * steps.astype(float)
        self.nodes = knowledge.nodes(UNIT)
        start = np.full_like(self.changes, unit.start_c - self.nominal_c)
        after, slopes, self.weights = self.nodes.landings(start, self.changes)
        self.after = after
        self.sd = np.hypot(unit.u_shift_k, slopes * knowledge.dose_sd)
        self.needed = float(mean_needed(self.nodes, start[:1], policy.target_k)[0])
        below = np.array([self._below(edge) for edge in EDGES_K]).T
        below[:, 0], below[:, -1] = 0.0, 1.0
        self.masses: Floats = np.diff(below, axis=1)
        low, high = policy.acceptance_k
        self.inside: Floats = self._below(high) - self._below(low)
        beyond = self._below(-kind.cap_k)
        self.refused: Floats = policy.refused(start, self.changes, np.array(self.needed))
        self.refused |= policy.overfills(start, self.changes, beyond)

    def _below(self, start_k: float) -> Floats:
        return np.asarray(ndtr((start_k - self.after) / self.sd) @ self.weights)
