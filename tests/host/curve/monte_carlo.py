"""Propagation of distributions by Monte Carlo (JCGM 101), the check of a budget."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from proofbath.curve.budget import LEVEL, Contribution
from proofbath.curve.record import Floats

Shape = Literal["normal", "rectangular"]
TRIALS = 200_000


@dataclass(frozen=True)
class Drawn:
    """An input quantity: mean, standard uncertainty, shape; few degrees of freedom give a t."""

    mean: float
    standard_uncertainty: float
    shape: Shape = "normal"
    degrees_of_freedom: float = math.inf

    def draw(self, rng: np.random.Generator, trials: int) -> Floats:
        """Return `trials` values."""
        u = self.standard_uncertainty
        if self.shape == "rectangular":
            return rng.uniform(self.mean - u * math.sqrt(3), self.mean + u * math.sqrt(3), trials)
        if math.isinf(self.degrees_of_freedom):
            return rng.normal(self.mean, u, trials)
        return self.mean + u * rng.standard_t(self.degrees_of_freedom, trials)


@dataclass(frozen=True)
class Propagated:
    """What came out: mean, standard uncertainty and both coverage intervals of the level."""

    estimate: float
    standard_uncertainty: float
    symmetric: tuple[float, float]
    shortest: tuple[float, float]


def propagate(
    model: Callable[..., Floats],
    inputs: Sequence[Drawn],
    trials: int = TRIALS,
    seed: int = 1,
    level: float = LEVEL,
) -> Propagated:
    """Return the distribution of model(*inputs), each input an array of `trials` values."""
    rng = np.random.default_rng(seed)
    values = np.sort(model(*(item.draw(rng, trials) for item in inputs)))
    inside = round(level * trials)
    widths = values[inside:] - values[: trials - inside]
    first = int(np.argmin(widths))
    low, high = np.quantile(values, [(1 - level) / 2, (1 + level) / 2])
    return Propagated(
        float(values.mean()),
        float(values.std(ddof=1)),
        (float(low), float(high)),
        (float(values[first]), float(values[first + inside])),
    )


def propagate_budget(contributions: Sequence[Contribution], seed: int = 1) -> Propagated:
    """Return the distribution of a budget's error by drawing every contribution."""
    drawn = [
        Drawn(0.0, abs(item.share), degrees_of_freedom=item.degrees_of_freedom)
        for item in contributions
    ]
    return propagate(lambda *shares: np.sum(shares, axis=0), drawn, seed=seed)
