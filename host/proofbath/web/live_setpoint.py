"""The set-point of a run, told again from its record: it is nowhere journalled.

The bath controller of the run is led once more along the recorded bath by the run's own notes.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterable

import numpy as np

from proofbath.control.bath_model import BathModel
from proofbath.control.controller import LONGEST_STEP_S, BathController
from proofbath.control.gains import Gains
from proofbath.run.course import CEILING_K
from proofbath.run.note import Note, Turn
from proofbath.run.profile import FASTEST_K_PER_MIN, Drive, Leg, Ramp, Soak
from proofbath.web.history import Floats
from proofbath.wire.table import TICK_MS

BULK = 3000
"""From so many samples on, only one in each longest step is followed."""


class SetpointReplay:
    """Follows one run of `legs`; `follow` takes its record in order, in any portions."""

    def __init__(self, legs: tuple[Leg, ...], model: BathModel, gains: Gains | None) -> None:
        self._legs = legs
        self._bath = BathController(model, gains)
        self._notes: deque[Note] = deque()
        self._leg: Leg | None = None
        self._t_s = math.nan
        self._ceiling_c = math.inf

    def follow(self, t_s: Floats, bath_c: Floats, notes: Iterable[Note]) -> Floats:
        """Return the set-point in °C at each moment, shape (n,); NaN before the first step."""
        told = [note for note in notes if note.code in ("step_begin", "warning")]
        self._notes.extend(told)
        if not len(t_s):
            return t_s
        followed = np.arange(len(t_s))
        if len(t_s) > BULK:
            every = round(LONGEST_STEP_S * 1000 / TICK_MS)
            turns = np.searchsorted(t_s, [note.t_s for note in told])
            followed = np.union1d(followed[::every], turns[turns < len(t_s)])
        at_s, at_c = t_s[followed], bath_c[followed]
        steps = zip(at_s.tolist(), at_c.tolist(), strict=True)
        followed_c = np.array([self._step(t, c) for t, c in steps])
        return np.asarray(np.interp(t_s, at_s, followed_c))

    def over_stroke(self, bath_c: float) -> None:
        """A unit is over its stroke: the run goes no hotter than now."""
        self._ceiling_c = min(self._ceiling_c, bath_c - CEILING_K)
        self._aim()

    def _step(self, t_s: float, bath_c: float) -> float:
        while self._notes and self._notes[0].t_s <= t_s:
            self._take(self._notes.popleft(), bath_c)
        passed_s, self._t_s = t_s - self._t_s, t_s
        if self._leg is None:
            self._t_s = math.nan  # the first step begins without one of the controller's
            return math.nan
        if passed_s > 2 * LONGEST_STEP_S:  # the link was down: a run picks up from the reading
            self._anchor(bath_c)
            self._aim()
        elif isinstance(self._leg.step, Drive):
            self._anchor(bath_c)
        elif passed_s > 0.0:
            self._bath.step(bath_c, passed_s)
        return self._bath.setpoint_c

    def _take(self, note: Note, bath_c: float) -> None:
        if note.code == "step_begin":
            if self._leg is None:
                self._anchor(bath_c)
            self._leg = self._legs[note.leg] if 0 <= note.leg < len(self._legs) else None
            self._aim()
        elif note.turn is Turn.PAUSED:
            self._bath.stay()
        elif note.turn is Turn.RESUMED:
            self._aim()

    def _anchor(self, bath_c: float) -> None:
        if not math.isnan(bath_c):
            self._bath.anchor(bath_c)

    def _aim(self) -> None:
        leg = self._leg
        if leg is None:
            return
        if isinstance(leg.step, (Ramp, Soak)):
            rate = leg.step.rate_k_per_min
            fastest = FASTEST_K_PER_MIN if isinstance(rate, str) else rate
            self._bath.aim(min(leg.to_c, self._ceiling_c), fastest)
        else:
            self._bath.stay()
