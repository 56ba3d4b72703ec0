"""Of the 1.0.0 rule: what a shop knows, by Bayesian regression of shift against change.

Unknown are the scale of the effect and its bend, both on a grid, so nothing is linearised. Errors
of the dose enter through the slope where the unit lands: the dose is set, not observed, so they
widen a shift and do not bias the slope. As-found and as-left share the probe's error; only what
does not cancel counts (`u_shift_k`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from shops.first_prior import BEND_SD, RELATIVE_SD, UNIT_SD, Effect

Floats = np.ndarray

LOG_SCALES: Floats = np.linspace(math.log(0.35), math.log(2.6), 121)
BENDS: Floats = np.linspace(0.25, 1.75, 7)
COARSER = 3


class Round(NamedTuple):
    """One rework of one unit: start-to-open before and after in °C, the change made in mg.

    `u_shift_k` is the standard uncertainty of the difference of both runs.
    """

    serial: str
    start_before_c: float
    change: float
    start_after_c: float
    u_shift_k: float


class Nodes(NamedTuple):
    """A unit's possible effects: bends, scales and their weights (sum 1), flat arrays by bend."""

    effects: tuple[Effect, ...]
    scales: tuple[Floats, ...]
    weights: tuple[Floats, ...]

    def landings(self, start_k: Floats, change: Floats) -> tuple[Floats, Floats, Floats]:
        """Return starts after changes, slopes there, and weights; the node axis comes last."""
        at, by = start_k[..., None], change[..., None]
        after, slopes = list[Floats](), list[Floats]()
        for effect, scales in zip(self.effects, self.scales, strict=True):
            after.append(effect.after(at, by, scales))
            slopes.append(effect.slope_at(after[-1], scales))
        return (
            np.concatenate(after, axis=-1),
            np.concatenate(slopes, axis=-1),
            np.concatenate(self.weights),
        )


class Knowledge:
    """A type's rework knowledge: the physical prior and every round that was added."""

    def __init__(self, nominal_c: float, dose_sd: float) -> None:
        self.nominal_c = nominal_c
        self.dose_sd = dose_sd
        self.effects = tuple(Effect(float(bend)) for bend in BENDS)
        self.serials: set[str] = set()
        self._evidence = _log_prior()
        self._of_unit: dict[str, list[Round]] = {}

    def add(self, rounds: Sequence[Round]) -> None:
        """Take further rounds of units of the type into account."""
        for item in rounds:
            self.serials.add(item.serial)
            self._of_unit.setdefault(item.serial, []).append(item)
            self._evidence = self._evidence + self.log_likelihood(item, UNIT_SD)

    def rounds_of(self, serial: str) -> Sequence[Round]:
        """Return the rounds that are known of one unit."""
        return self._of_unit.get(serial, ())

    def log_likelihood(self, item: Round, unit_sd: float) -> Floats:
        """Return the log-likelihood of a round for every bend (rows) and scale (columns)."""
        start, scales = item.start_before_c - self.nominal_c, np.exp(LOG_SCALES)
        rows = list[Floats]()
        for effect in self.effects:
            at = np.full_like(scales, start)
            after = effect.after(at, np.full_like(scales, item.change), scales)
            dose = effect.slope_at(after, scales) * self.dose_sd
            variance = item.u_shift_k**2 + dose**2 + (unit_sd * (after - at)) ** 2
            off = item.start_after_c - self.nominal_c - after
            rows.append(-0.5 * (off**2 / variance + np.log(variance)))
        return np.array(rows)

    def nodes(self, serial: str | None = None) -> Nodes:
        """Return what a unit of the type may do, its own rounds known where `serial` names it.

        Other units tell of the type only, so their share is spread by what units differ.
        """
        evidence, own = self._evidence, np.zeros_like(self._evidence)
        for item in self.rounds_of(serial or ""):
            evidence = evidence - self.log_likelihood(item, UNIT_SD)
            own += self.log_likelihood(item, 0.0)
        spread = _normalised(evidence) @ _spreading()
        weights = _normalised(np.log(np.maximum(spread, 1e-300)) + own)
        thin = weights[:, 1::COARSER] + 0.5 * (weights[:, 0:-1:COARSER] + weights[:, 2::COARSER])
        thin = thin / thin.sum()
        keep = thin > 1e-5 * thin.max()
        scales = np.exp(LOG_SCALES)[1::COARSER]
        kept = keep.any(axis=1)
        return Nodes(
            tuple(effect for effect, used in zip(self.effects, kept, strict=True) if used),
            tuple(scales[row] for row in keep if row.any()),
            tuple(w[row] for w, row in zip(thin, keep, strict=True) if row.any()),
        )


def _log_prior() -> Floats:
    variance = math.log(1 + RELATIVE_SD**2)  # lognormal with mean 1 and this relative sd
    of_scale = -0.5 * (LOG_SCALES + variance / 2) ** 2 / variance
    of_bend = -0.5 * ((BENDS - 1) / BEND_SD) ** 2
    return np.asarray(of_bend[:, None] + of_scale[None, :])


def _spreading() -> Floats:
    apart = (LOG_SCALES[:, None] - LOG_SCALES[None, :]) / UNIT_SD
    kernel = np.exp(-0.5 * apart**2)
    return np.asarray(kernel / kernel.sum(axis=1, keepdims=True))


def _normalised(logarithms: Floats) -> Floats:
    weights = np.exp(logarithms - logarithms.max())
    return np.asarray(weights / weights.sum())
