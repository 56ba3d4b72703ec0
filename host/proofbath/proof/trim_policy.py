"""Which acts on a unit are thought of, which are allowed, and where each leads."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from typing import NamedTuple

import numpy as np
from scipy.optimize import brentq

from proofbath.proof.lift_curve import COLD_C, START_MM, LiftCurve
from proofbath.proof.trim_act import CLEAN, WAX_MM3_PER_MG, Act, Donor, Effect, Fill, effect
from proofbath.proof.trim_knowledge import SAMPLES, Samples, TrimKnowledge

Floats = np.ndarray

LARGE_K = 3.0
"""A larger change is made by another wax, where there is one: added wax lowers the foot most."""
MOST_SHARE = 0.9
COLD_MARGIN_MM = 0.3
"""Cold, a unit must be shut by so much in every one of its possible futures: about 1 in 1,000."""
PARTS = (1.0, 0.85, 0.7, 0.5, 0.35, 0.2, 0.1, 0.05)
"""Parts of the wanted act that are thought of: the largest allowed one is made."""
SPARED_MM = (0.0, 0.5, 1.0, 2.0, -0.5, -1.0)
"""Fills of an exchange that leave so much less lift, where too much would be the danger."""
MOST_TRIM_MM = 6.0
CLOSEST_MG = 0.5
NEAR_ENOUGH = 1e-3
UNIT_EXCHANGE = 0.01
"""Units of a type are moved so differently by the same exchange (from memory)."""


class Target(NamedTuple):
    """What is ordered: a lift at a temperature with acceptance limits, guard band taken off.

    `lower_lift_mm` is the least lift at `full_at_c`; `highest_c` is what a bath can reach.
    """

    wanted_c: float
    lower_c: float
    upper_c: float
    lift_mm: float = 2.0
    lower_lift_mm: float | None = None
    full_at_c: float | None = None
    highest_c: float | None = None


class Shim(NamedTuple):
    """Shims or a setting: how much thinner and thicker it can be made, in steps."""

    least_mm: float
    most_mm: float
    step_mm: float = 0.05

    def stepped(self, mm: float) -> float:
        """Return the nearest thickness that there is."""
        return round(round(mm / self.step_mm) * self.step_mm, 4)


class Means(NamedTuple):
    """What can be done to a unit as its type allows."""

    sources: tuple[str, ...] = (CLEAN,)
    """Where wax to be added comes from."""
    removes: bool = True
    donors: tuple[Donor, ...] = ()
    shim: Shim | None = None
    most_closing_mm: float = 0.0
    """How much deeper or less deep it can be closed."""
    reads_pin: bool = False
    """The cold pin's stick-out is read before it is closed, and filled by."""
    step_mg: float = 0.5


class TrimUnit(NamedTuple):
    """A measured unit; `spread_k` is how far its start lies below the target's lift at best."""

    serial: str
    curve: LiftCurve
    fill: Fill
    rounds_done: int = 0
    openings_left: int | None = None
    spread_k: float | None = None


class Landing(NamedTuple):
    """Where an act leads: equally likely temperatures at the target's lift and what else counts."""

    act: Act
    part: float
    at_target_c: Floats
    start_c: Floats
    cold_mm: Floats
    full_mm: Floats | None
    done: Effect

    def chance(self, target: Target) -> float:
        """Return the chance that the next reading lies inside the acceptance limits."""
        inside = (self.at_target_c >= target.lower_c) & (self.at_target_c <= target.upper_c)
        if self.full_mm is not None and target.lower_lift_mm is not None:
            inside &= self.full_mm >= target.lower_lift_mm
        return float(np.mean(inside))


class Prospect:
    """One unit's possible curves and what the shop knows, drawn once and asked for many acts."""

    def __init__(self, unit: TrimUnit, target: Target, knowledge: TrimKnowledge) -> None:
        self.unit, self.target, self.knowledge = unit, target, knowledge
        self.curve = unit.curve.resampled(SAMPLES)
        order = np.random.default_rng(11).permutation(SAMPLES)
        self.curve = self.curve.reordered(order)
        self.now_c = float(np.mean(self.curve.temperature_c(target.lift_mm)))
        self.now_cold_mm = self.curve.free_lift_mm(COLD_C)
        self._samples: dict[str, Samples] = {}

    def samples(self, act: Act) -> Samples:
        """Return the values of all that is not known, for acts of one source."""
        if act.source not in self._samples:
            self._samples[act.source] = self.knowledge.samples(act, self.unit.fill)
        return self._samples[act.source]

    def after(self, act: Act) -> tuple[LiftCurve, Effect]:
        """Return the unit's possible curves after an act, with all errors in."""
        samples = self.samples(act)
        done = effect(act, self.unit.fill, samples.theta, samples.errors)
        shift = done.shift_k
        if act.donor is not None and act.donor.full_shift_k:
            relative = act.donor.u_shift_k / abs(act.donor.full_shift_k)
            shift = shift * (1.0 + np.hypot(relative, UNIT_EXCHANGE) * samples.unit)
        curve = self.curve.after_exchange(shift, 1.0).after_trim(done.lift_mm, done.stretch)
        return curve, done

    def landing(self, act: Act, part: float = 1.0) -> Landing:
        """Return where an act leads, as the next reading will say."""
        curve, done = self.after(act)
        at_c = self._read(curve, self.target.lift_mm, act)
        full_at_c = self.target.full_at_c
        return Landing(
            act,
            part,
            at_c,
            self._read(curve, START_MM, act),
            curve.free_lift_mm(COLD_C),
            None if full_at_c is None else curve.lift_mm(full_at_c),
            done,
        )

    def _read(self, curve: LiftCurve, lift_mm: float, act: Act) -> Floats:
        samples = self.samples(act)
        return read_c(self.curve, curve, lift_mm, samples)

    def allowed(self, landing: Landing) -> bool:
        """Tell whether an act is safe: it does not fall too far and leaves the valve shut cold."""
        cold = landing.cold_mm
        shut = float(cold.max()) < -COLD_MARGIN_MM
        if not shut and not cold.mean() < self.now_cold_mm.mean() - 0.1:
            return False
        low, high = np.quantile(landing.at_target_c, [0.025, 0.975])
        if self.target.highest_c is not None and high > max(self.target.highest_c, self.now_c):
            return False
        falls = float(landing.at_target_c.mean()) < self.now_c
        return bool(not falls or low >= self.target.lower_c)


def read_c(before: LiftCurve, after: LiftCurve, lift_mm: float, samples: Samples) -> Floats:
    """Return what the next run will read at a lift, with the doubt of power and bath."""
    now, then = before.temperature_c(lift_mm), after.temperature_c(lift_mm)
    by = (then - now) * (1.0 + before.shift_relative_u * samples.power)
    return np.asarray(now + by + np.sqrt(2.0) * before.u_bath_k * samples.bath)


def solved(of: Callable[[float], float], wanted: float, low: float, high: float) -> float:
    """Return where a monotone function comes to a value, or the nearer end of its span."""
    at_low, at_high = of(low), of(high)
    if (at_low - wanted) * (at_high - wanted) > 0:
        return low if abs(at_low - wanted) < abs(at_high - wanted) else high
    xtol = NEAR_ENOUGH * (high - low)
    return float(brentq(lambda x: of(x) - wanted, low, high, xtol=xtol))


Ladder = list[tuple[Act, float]]
"""One kind of act, the whole change first; each with the part of it that it makes."""


class Thoughts:
    """All acts that are thought of for a unit, each towards the same temperature."""

    def __init__(self, prospect: Prospect, means: Means, wanted_c: float) -> None:
        self.prospect, self.means, self.wanted_c = prospect, means, wanted_c
        self._rooms: dict[str, tuple[float, float]] = {}
        self.may_open = prospect.unit.openings_left != 0

    def ladders(self) -> Iterator[Ladder]:
        """Yield what can be done, each as the whole wanted change and ever smaller parts of it."""
        yield from self._shims()
        if self.may_open:
            yield from self._trims()
            yield from self._closings()
            for donor in self.means.donors:
                yield from self._exchanges(donor)

    def _solved(self, act: Callable[[float], Act], low: float, high: float) -> float:
        """Return how much of an act leads to the wanted temperature on average."""

        def mean_c(much: float) -> float:
            curve, _ = self.prospect.after(act(much))
            return float(np.mean(curve.temperature_c(self.prospect.target.lift_mm)))

        return solved(mean_c, self.wanted_c, low, high)

    def _shims(self) -> Iterator[Ladder]:
        shim = self.means.shim
        if shim is None:
            return

        def act(mm: float) -> Act:
            return Act(shim_mm=shim.stepped(mm), opened=False)

        mm = self._solved(act, shim.least_mm, shim.most_mm)
        yield [(act(mm * part), part) for part in PARTS if act(mm * part).shim_mm]

    def _trims(self) -> Iterator[Ladder]:
        fill = self.prospect.unit.fill
        most = min(2 * MOST_TRIM_MM * fill.pin_area_mm2 / WAX_MM3_PER_MG, 0.5 * fill.mass_mg)
        adds = self.wanted_c < self.prospect.now_c
        sources = self.means.sources if adds else ((CLEAN,) if self.means.removes else ())
        for source in sources:
            act = partial(self._dose, source, adds)
            mg = self._solved(act, 0.0, most)
            yield [(act(mg * part), part) for part in PARTS if mg * part >= CLOSEST_MG]

    def _dose(self, source: str, adds: bool, mg: float) -> Act:
        mg = round(mg / self.means.step_mg) * self.means.step_mg
        return self._by_pin(Act(mass_in_mg=mg, source=source)) if adds else Act(mass_out_mg=mg)

    def _closings(self) -> Iterator[Ladder]:
        most = self.means.most_closing_mm
        if not most:
            return

        def act(mm: float) -> Act:
            return Act(closing_mm=round(mm, 2))

        mm = self._solved(act, -most, most)
        yield [(act(mm * part), part) for part in PARTS if act(mm * part).closing_mm]

    def _exchanges(self, donor: Donor) -> Iterator[Ladder]:
        if (self.wanted_c - self.prospect.now_c) * donor.full_shift_k <= 0:
            return
        for spared in SPARED_MM:
            act = partial(self._exchange, donor, spared)
            share = self._solved(act, 0.01, MOST_SHARE)
            yield [(act(share * part), part) for part in PARTS]
            whole = act(share)
            if self.means.shim is not None and share >= MOST_SHARE:
                yield [(self._with_shim(whole, self.means.shim), 1.0)]

    def _with_shim(self, act: Act, shim: Shim) -> Act:
        """Return an act that falls short, with the shim that does the rest in the same round."""

        def both(mm: float) -> Act:
            return act._replace(shim_mm=shim.stepped(mm))

        return both(self._solved(both, shim.least_mm, shim.most_mm))

    def _exchange(self, donor: Donor, spared_mm: float, share: float) -> Act:
        """Return an exchange that fills the room it made, less what is spared, on average."""
        step = self.means.step_mg
        out_mg = round(share * self.prospect.unit.fill.mass_mg / step) * step
        lost_mm, gained_mm = self._room(donor.source)
        in_mg = round(max(lost_mm * out_mg - spared_mm, 0.0) / gained_mm / step) * step
        return self._by_pin(Act(out_mg, in_mg, donor.source, donor), spared_mm)

    def _room(self, source: str) -> tuple[float, float]:
        """Return what a mg out of the fill takes off the lift on average, and one in adds."""
        if source not in self._rooms:
            fill = self.prospect.unit.fill
            out = Act(mass_out_mg=1.0, source=source, opened=False)
            given = Act(mass_in_mg=1.0, source=source, opened=False)
            theta = self.prospect.samples(given).theta
            lost, gained = (float(np.mean(effect(x, fill, theta).lift_mm)) for x in (out, given))
            self._rooms[source] = (-lost, gained)
        return self._rooms[source]

    def _by_pin(self, act: Act, spared_mm: float | None = None) -> Act:
        """Return the act filled by the cold pin, where it is read and says more than a balance."""
        if not self.means.reads_pin or not act.mass_in_mg:
            return act
        samples = self.prospect.samples(act)
        done = effect(act, self.prospect.unit.fill, samples.theta)
        if float(np.std(done.stick_out_mm)) < 0.1:
            return act
        stands = float(np.mean(done.stick_out_mm)) if spared_mm is None else -spared_mm
        return act._replace(pin_stick_out_mm=round(stands, 2))
