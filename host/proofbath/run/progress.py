"""How far a run is, for a person, by the bath model's own times."""

from __future__ import annotations

import math
from typing import NamedTuple

from proofbath.control.bath_model import BathModel
from proofbath.run.duration import leg_seconds, total_seconds
from proofbath.run.profile import Leg, Soak

LATE_FACTOR = 1.25
LATE_EXTRA_S = 1800.0
"""A run is late beyond its expected time times the factor, and the extra."""
LEG_FACTOR = 2.0
LEG_EXTRA_S = 1800.0
"""The same for one step, after which the run is ended."""


class Progress(NamedTuple):
    """Share of the run that is done, what is left of it, and the step under way."""

    fraction: float
    left_s: float
    leg: int
    label: str


class Timetable:
    """The expected times of a run."""

    def __init__(self, legs: tuple[Leg, ...], model: BathModel) -> None:
        self._legs = legs
        self._model = model
        self._begun_s = math.nan
        self._late_s = math.inf

    def begin(self, t_s: float, bath_c: float, first: int) -> None:
        """The run begins with leg `first` at a bath temperature."""
        self._begun_s = t_s
        expected_s = total_seconds(self._legs[first:], self._model, bath_c)
        self._late_s = t_s + LATE_FACTOR * expected_s + LATE_EXTRA_S

    def is_late(self, t_s: float) -> bool:
        """Return once whether the run takes longer than planned."""
        if not t_s > self._late_s:
            return False
        self._late_s = math.inf
        return True

    def delay(self, by_s: float) -> None:
        """A pause does not count as late."""
        self._late_s += by_s

    def leg_limit_s(self, leg: Leg, from_c: float) -> float:
        """Return how long a leg may take at most."""
        step = leg.step
        waits_s = step.at_most_s - step.at_least_s if isinstance(step, Soak) else 0.0
        return LEG_FACTOR * leg_seconds(leg, from_c, self._model) + waits_s + LEG_EXTRA_S

    def progress(self, index: int, t_s: float, leg_began_s: float, leg_began_c: float) -> Progress:
        """Return the progress while leg `index` is under way."""
        leg = self._legs[index]
        here_s = leg_seconds(leg, leg_began_c, self._model) - (t_s - leg_began_s)
        left_s = max(0.0, here_s) + total_seconds(self._legs[index + 1 :], self._model, leg.to_c)
        gone_s = t_s - self._begun_s
        fraction = gone_s / max(gone_s + left_s, 1.0)
        return Progress(fraction, left_s, index, leg.step.label or leg.step.kind)

    def before(self, label: str) -> Progress:
        """Return the progress of a run that has not begun."""
        return Progress(0.0, total_seconds(self._legs, self._model), -1, label)
