"""Of the 1.0.0 rule: the cost to come of a unit by rounds left, by backward induction."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy.special import ndtr
from shops.first_knowledge import Knowledge, Nodes

Floats = np.ndarray

EDGES_K: Floats = np.arange(-30.0, 15.01, 0.25)
CENTRES_K: Floats = (EDGES_K[1:] + EDGES_K[:-1]) / 2
CAUTIOUS_MG = 10.0
KNOWN_UNITS = 10
FIRST_SHARE = 0.7
LARGER_K = 2.5
"""A smaller shift of a known type is made at once, however flat the effect is there."""
OVERFILL_CHANCE = 1e-3
"""An increase must not lead beyond the cap with more than this chance."""
POLICY_CHANGES = 20


class Prices(NamedTuple):
    """What that release took a round to cost, and what it allowed."""

    round_cost: float = 16.0
    give_up_cost: float = 45.0
    overfill_cost: float = 60.0
    most_rounds: int = 3
    cap_k: float = 4.0
    step_mg: float = 0.5
    dosing_sd_mg: float = 1.0


def largest_step(knowledge: Knowledge) -> float:
    """Return the largest change of one round: twice the cautious one from ten known units on."""
    return CAUTIOUS_MG * (2.0 if len(knowledge.serials) >= KNOWN_UNITS else 1.0)


def step_limits(
    needed: Floats, shift_k: Floats | float, largest: float, cautious: float
) -> tuple[Floats, Floats]:
    """Return the least and the most change of a round towards what is needed for a shift.

    A larger increase is made in rounds announced beforehand, the first of 70 % at most.
    """
    known = largest > cautious
    larger = (needed > cautious) & ((np.abs(shift_k) > LARGER_K) | (not known))
    most = np.where(larger, np.minimum(largest, FIRST_SHARE * needed), largest)
    return np.full_like(most, -largest), most


def bin_masses(mean_k: Floats, sd_k: Floats) -> Floats:
    """Return the probability of each bin of EDGES_K for normal landings; bins come last."""
    below = ndtr((EDGES_K - mean_k[..., None]) / sd_k[..., None])
    below[..., 0], below[..., -1] = 0.0, 1.0
    return np.asarray(np.diff(below, axis=-1))


class Policy:
    """Expected cost to come at each bin of start-to-open, for 0, 1, ... rounds left."""

    def __init__(
        self,
        kind: Prices,
        knowledge: Knowledge,
        acceptance_k: tuple[float, float],
        u_shift_k: float,
    ) -> None:
        self.kind = kind
        self.acceptance_k = acceptance_k
        self.u_shift_k = u_shift_k
        self.dose_sd = knowledge.dose_sd
        self.largest = largest_step(knowledge)
        self.cautious = CAUTIOUS_MG
        self.inside = _share_inside(acceptance_k)
        self.costs = self._costs(knowledge.nodes())

    def _costs(self, nodes: Nodes) -> list[Floats]:
        step = self.largest / POLICY_CHANGES
        changes = step * np.arange(-POLICY_CHANGES, POLICY_CHANGES + 1)
        start, change = np.meshgrid(CENTRES_K, changes, indexing="ij")
        after, slopes, weights = nodes.landings(start, change)
        mean = after @ weights
        variance = self.u_shift_k**2 + ((slopes * self.dose_sd) ** 2) @ weights
        sd = np.sqrt(variance + (after**2) @ weights - mean**2)
        masses = bin_masses(mean, sd)
        refused = self.refused(start, change, mean_needed(nodes, CENTRES_K, self.target_k)[:, None])
        refused |= self.overfills(start, change, ndtr((-self.kind.cap_k - mean) / sd))
        costs = [self.kind.give_up_cost * (1 - self.inside)]
        for _ in range(self.kind.most_rounds):
            go = self.cost_of_going(masses, change, costs[-1])
            best = np.min(np.where(refused, np.inf, go), axis=1)
            outside = np.minimum(best, self.kind.give_up_cost)
            costs.append(outside * (1 - self.inside))
        return costs

    @property
    def target_k(self) -> float:
        """Middle of the acceptance limits, from nominal."""
        return sum(self.acceptance_k) / 2

    def refused(self, start_k: Floats, change: Floats, needed: Floats) -> Floats:
        """Return which changes the caution rules refuse, whatever they would cost."""
        least, most = step_limits(
            np.broadcast_to(needed, change.shape),
            self.target_k - start_k,
            self.largest,
            self.cautious,
        )
        return np.asarray((change < least - 1e-9) | (change > most + 1e-9) | (change == 0))

    def overfills(self, start_k: Floats, change: Floats, beyond: Floats) -> Floats:
        """Return which increases lead beyond the cap with more than the allowed chance."""
        past = start_k < -self.kind.cap_k
        return np.asarray((change > 0) & ((beyond > OVERFILL_CHANCE) | past))

    def cost_of_going(self, masses: Floats, change: Floats, to_come: Floats) -> Floats:
        """Return the expected cost of changes with these landing masses, this round included."""
        scrap = np.maximum(to_come, self.kind.overfill_cost)
        raised = masses @ np.where(CENTRES_K + self.kind.cap_k < 0, scrap, to_come)
        return np.asarray(self.kind.round_cost + np.where(change > 0, raised, masses @ to_come))


def mean_needed(nodes: Nodes, start_k: Floats, target_k: float) -> Floats:
    """Return the change that leads from starts to the target, averaged over what may be true."""
    total = np.zeros_like(start_k)
    for effect, scales, weights in zip(nodes.effects, nodes.scales, nodes.weights, strict=True):
        wanted = np.full((len(start_k), 1), target_k)
        total += effect.needed(start_k[:, None], wanted, scales) @ weights
    return total


def _share_inside(acceptance_k: tuple[float, float]) -> Floats:
    low, high = acceptance_k
    overlap = np.minimum(EDGES_K[1:], high) - np.maximum(EDGES_K[:-1], low)
    return np.asarray(np.clip(overlap / np.diff(EDGES_K), 0.0, 1.0))
