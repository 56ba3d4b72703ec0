"""Trim advice: what to do to a unit in the next round, what it will do, and whether it pays."""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum
from typing import NamedTuple

import numpy as np

from proofbath.errors import InputError
from proofbath.proof.effort import Effort
from proofbath.proof.lift_curve import SHOWN_LIFTS_MM, START_MM, Interval, interval
from proofbath.proof.trim_act import Act
from proofbath.proof.trim_knowledge import TrimKnowledge
from proofbath.proof.trim_policy import (
    COLD_MARGIN_MM,
    LARGE_K,
    Ladder,
    Landing,
    Means,
    Prospect,
    Target,
    Thoughts,
    TrimUnit,
    read_c,
)

Floats = np.ndarray

SURE_CHANCE = 0.9
MOST_FORESEEN = 3
ROUND_K, LOST_EACH = 8.0, 0.1
"""A further round covers so much of what is left, and fails with this chance (from memory)."""
OFF_MIN_PER_K = 10.0
"""A kelvin off what was ordered costs so much, inside the limits too (common practice)."""
DRIFT_FREE_K, DRIFT_MIN_PER_K = 1.0, 6.0
"""So does a start that drifts further from the target's lift (common practice)."""


class TrimAction(StrEnum):
    """What to do with a unit."""

    LEAVE = "leave"
    CHANGE = "change"
    CHANGE_AND_MEASURE = "change, the rest after measuring"
    GIVE_UP = "give up"


class Cause(StrEnum):
    """Why no rework is advised; the figure beside it is in the unit named."""

    LIFT_LIMIT = "lift limit"
    """The lift in mm that can be expected at most."""
    MECHANICAL_STOP = "mechanical stop"
    """The stop in mm."""
    WRONG_WAX = "wrong wax"
    """How many kelvins no means at hand can cover."""
    NO_OPENING_LEFT = "no opening left"
    """Openings left: 0."""
    SEALED = "nothing can be changed"
    """Means at hand: 0."""
    PRICE = "price"
    """Minutes that the cheapest sequence is expected to take."""


class Forecast(NamedTuple):
    """What the next run will read, each with its 95 % interval; None where a stop is in the way.

    `cold_mm` is the free lift at 20 °C: negative is shut by so much.
    """

    temperature_c: tuple[tuple[float, Interval | None], ...]
    at_target_c: Interval
    full_lift_mm: Interval | None
    closing_c: Interval
    hysteresis_k: Interval
    cold_mm: Interval
    pin_stick_out_mm: Interval | None
    mass_in_mg: Interval | None


class TrimAdvice(NamedTuple):
    """What to do, what it will do, at what chance and effort.

    `rounds` are all acts as foreseen now, the first being `act`; every later one is advised anew
    after measuring. `cause` and `figure` say why a unit is given up.
    """

    action: TrimAction
    act: Act | None = None
    rounds: tuple[Act, ...] = ()
    forecast: Forecast | None = None
    chance_inside: float | None = None
    expected_min: float = 0.0
    cause: Cause | None = None
    figure: float | None = None


class TrimAdviser:
    """Advice for units of one type, from what the shop knows, its means and its efforts."""

    def __init__(
        self, knowledge: TrimKnowledge, means: Means, target: Target, effort: Effort | None = None
    ) -> None:
        if not target.lower_c < target.wanted_c < target.upper_c:
            raise InputError(
                f"acceptance limits {target.lower_c:g} to {target.upper_c:g} °C do not hold"
                f" {target.wanted_c:g} °C between them: the guard band is too wide for the"
                " tolerance, or the order is wrong"
            )
        self.knowledge, self.means, self.target = knowledge, means, target
        self.effort = effort or Effort()

    def advise(self, unit: TrimUnit) -> TrimAdvice:
        """Return the advice of least expected effort for a unit."""
        cause = self._cannot(unit)
        if self._inside(unit):
            return TrimAdvice(TrimAction.LEAVE) if cause is None else cause
        if cause is not None:
            return cause
        prospect = Prospect(unit, self.target, self.knowledge)
        ladders = self._ladders(prospect)
        cause = self._out_of_reach(ladders, prospect)
        if cause is not None:
            return cause
        best = next(iter(self._priced(prospect, ladders)), None)
        if best is None or best[1] >= self.effort.give_up_min:
            return self._without(Cause.PRICE, best[1] if best else self.effort.give_up_min)
        landing, expected_min = best
        chance = landing.chance(self.target)
        rounds = self._foreseen(unit, landing, chance)
        several = chance < SURE_CHANCE or len(rounds) > 1
        return TrimAdvice(
            TrimAction.CHANGE_AND_MEASURE if several else TrimAction.CHANGE,
            landing.act,
            rounds,
            self._forecast(prospect, landing),
            chance,
            expected_min,
        )

    def forecast(self, unit: TrimUnit, act: Act) -> Forecast:
        """Return what the next run will read after any act on a unit."""
        prospect = Prospect(unit, self.target, self.knowledge)
        return self._forecast(prospect, prospect.landing(act))

    def _inside(self, unit: TrimUnit) -> bool:
        target = self.target
        at_c = float(unit.curve.weights @ unit.curve.temperature_c(target.lift_mm))
        if not target.lower_c <= at_c <= target.upper_c:
            return False
        full = self._full_mm(unit)
        return full is None or full >= (target.lower_lift_mm or 0.0)

    def _full_mm(self, unit: TrimUnit) -> float | None:
        if self.target.full_at_c is None:
            return None
        return float(unit.curve.weights @ unit.curve.lift_mm(self.target.full_at_c))

    def _cannot(self, unit: TrimUnit) -> TrimAdvice | None:
        """Return why nothing that is done to a unit could help, None where something may."""
        stop, lift = unit.curve.stop_mm, self.target.lower_lift_mm
        if stop is not None and stop < max(lift or 0.0, self.target.lift_mm):
            return self._without(Cause.MECHANICAL_STOP, stop)
        if self._inside(unit):
            return None
        means = self.means
        wax = bool(means.sources or means.donors or means.removes or means.most_closing_mm)
        if means.shim is None and not wax:
            return self._without(Cause.SEALED, 0.0)
        if means.shim is None and unit.openings_left == 0:
            return self._without(Cause.NO_OPENING_LEFT, 0.0)
        return None

    def _without(self, cause: Cause, figure: float) -> TrimAdvice:
        minutes = self.effort.give_up_min
        return TrimAdvice(TrimAction.GIVE_UP, expected_min=minutes, cause=cause, figure=figure)

    def _wanted(self) -> Sequence[float]:
        """Return temperatures to aim at: others than the middle where a lift is wanted too."""
        target = self.target
        if target.lower_lift_mm is None:
            return (target.wanted_c,)
        low, high = (target.lower_c + target.wanted_c) / 2, (target.upper_c + target.wanted_c) / 2
        return (target.wanted_c, low, high)

    def _ladders(self, prospect: Prospect) -> list[Ladder]:
        """Return all that is thought of, allowed or not."""
        thoughts = [Thoughts(prospect, self.means, wanted_c) for wanted_c in self._wanted()]
        return [ladder for thought in thoughts for ladder in thought.ladders() if ladder]

    def _priced(self, prospect: Prospect, ladders: list[Ladder]) -> list[tuple[Landing, float]]:
        """Return the largest allowed act of each kind with its expected minutes, the best first.

        A large shift is made by another wax, where one helps.
        """
        found = []
        for ladder in ladders:
            landings = (prospect.landing(act, part) for act, part in ladder)
            landing = next((x for x in landings if prospect.allowed(x)), None)
            if landing is not None:
                found.append((landing, self._expected_min(prospect, landing)))
        found.sort(key=lambda x: x[1] + self._disliked_min(prospect, x[0]))
        large = abs(self.target.wanted_c - prospect.now_c) > LARGE_K
        exchanged = [x for x in found if x[0].act.donor is not None]
        return exchanged if large and exchanged else found

    def _out_of_reach(self, ladders: list[Ladder], prospect: Prospect) -> TrimAdvice | None:
        """Return why no sequence of acts leads inside, None where one may."""
        target = self.target
        wholes = [prospect.landing(*ladder[0]) for ladder in ladders]
        whole = [x for x in wholes if x.cold_mm.mean() < -COLD_MARGIN_MM]
        means = [float(x.at_target_c.mean()) for x in whole]
        short = [max(target.lower_c - c, c - target.upper_c, 0.0) for c in means]
        by_wax = self.means.donors and (self.means.sources or self.means.removes)
        nearest = min(short, default=abs(prospect.now_c - target.wanted_c))
        if nearest > (LARGE_K if by_wax and short else 0.0):
            return self._without(Cause.WRONG_WAX, nearest)
        if target.lower_lift_mm is None:
            return None
        lifts = [
            float(x.full_mm.mean())
            for x, off in zip(whole, short, strict=True)
            if not off and x.full_mm is not None
        ]
        if lifts and max(lifts) < target.lower_lift_mm:
            return self._without(Cause.LIFT_LIMIT, max(lifts))
        return None

    def _expected_min(self, prospect: Prospect, landing: Landing) -> float:
        """Return the minutes a unit is expected to take to its end, this round first."""
        unit, effort = prospect.unit, self.effort
        taken = minutes_of(effort, landing.act)
        missed = 1.0 - landing.chance(self.target)
        left = effort.most_rounds - unit.rounds_done - 1
        if unit.openings_left is not None and self.means.shim is None:
            left = min(left, unit.openings_left - landing.act.opened)
        if left <= 0:
            return taken + missed * effort.give_up_min
        far_k = float(np.mean(np.abs(landing.at_target_c - self.target.wanted_c)))
        rounds = min(1.0 + far_k / ROUND_K, float(left))
        return taken + missed * (rounds * taken + LOST_EACH**left * effort.give_up_min)

    def _disliked_min(self, prospect: Prospect, landing: Landing) -> float:
        """Return what is not to be liked of where an act leads, though it may be inside."""
        off = np.abs(landing.at_target_c - self.target.wanted_c)
        wanted_k = prospect.unit.spread_k
        if wanted_k is None:
            now = prospect.curve.temperature_c(self.target.lift_mm)
            wanted_k = float(np.mean(now - prospect.curve.temperature_c(START_MM)))
        spread = landing.at_target_c - landing.start_c
        drift = np.maximum(np.abs(spread - wanted_k) - DRIFT_FREE_K, 0.0)
        return float(np.mean(OFF_MIN_PER_K * off + DRIFT_MIN_PER_K * drift))

    def _foreseen(self, unit: TrimUnit, landing: Landing, chance: float) -> tuple[Act, ...]:
        """Return all rounds as foreseen: a part that is left over is made in the next ones."""
        acts = [landing.act]
        part = landing.part
        while part < 0.999 and chance < SURE_CHANCE and len(acts) < self._most(unit):
            rest = min(1.0 - part, part * 4)
            last = len(acts) + 1 == self._most(unit)
            acts.append(_scaled(landing.act, (1.0 - part if last else rest) / landing.part))
            part += rest
        return tuple(acts)

    def _most(self, unit: TrimUnit) -> int:
        most = min(MOST_FORESEEN, self.effort.most_rounds - unit.rounds_done)
        if unit.openings_left is not None and self.means.shim is None:
            most = min(most, unit.openings_left)
        return max(most, 1)

    def _forecast(self, prospect: Prospect, landing: Landing) -> Forecast:
        act, weights = landing.act, prospect.curve.weights
        curve, done = prospect.after(act)
        samples = prospect.samples(act)
        rows: list[tuple[float, Interval | None]] = []
        for mm in SHOWN_LIFTS_MM:
            held = curve.stop_mm is not None and mm > curve.stop_mm
            read = read_c(prospect.curve, curve, mm, samples)
            rows.append((mm, None if held else interval(read, weights)))
        play = curve.hysteresis_k
        sd = (play.high - play.low) / 3.92
        closing = landing.start_c - play.mean - sd * samples.unit
        return Forecast(
            tuple(rows),
            interval(landing.at_target_c, weights),
            None if landing.full_mm is None else interval(landing.full_mm, weights),
            interval(closing, weights),
            play,
            interval(landing.cold_mm, weights),
            interval(done.stick_out_mm, weights) if act.doses else None,
            interval(done.mass_in_mg, weights) if act.doses else None,
        )


def minutes_of(effort: Effort, act: Act) -> float:
    """Return what a round with an act takes, measured again."""
    taken = effort.measuring_min
    if act.opened:
        taken += effort.opening_min + effort.part_min
    if act.donor is not None:
        taken += effort.exchange_min
    if act.shim_mm:
        taken += effort.shim_min
    return taken


def _scaled(act: Act, by: float) -> Act:
    """Return an act that does so many times as much."""
    pin = act.pin_stick_out_mm
    return act._replace(
        mass_out_mg=round(2 * act.mass_out_mg * by) / 2,
        mass_in_mg=round(2 * act.mass_in_mg * by) / 2,
        shim_mm=round(20 * act.shim_mm * by) / 20,
        closing_mm=round(100 * act.closing_mm * by) / 100,
        pin_stick_out_mm=None if pin is None else pin * by,
    )
