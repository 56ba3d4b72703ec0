"""What a shop knows of trimming a type: mm per mg by source, closing, dosing, spring and foot.

A round tells how far the whole curve moved. Everything to be learnt enters that move nearly
straight, so it is learnt by least squares, for each of several scatters of closing and dosing.
One round in twenty may be nonsense: such a round is not believed, and makes the scatter larger.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import partial
from typing import NamedTuple

import numpy as np
from scipy.special import ndtr, ndtri
from scipy.stats import qmc

from proofbath.proof.lift_curve import LiftCurve
from proofbath.proof.melting_fit import PRIOR_LOGS
from proofbath.proof.trim_act import CLEAN, OWN, Act, Effect, Errors, Fill, Theta, effect
from proofbath.proof.trim_moved import Moved, moved
from proofbath.proof.trim_regression import Observed, regression

Floats = np.ndarray

KNOWN_PIN_SD, UNKNOWN_PIN_SD = 0.05, 0.3
CLOSING_MM, CLOSING_LOG_SD = 0.19, 0.3
DOSING_LOG_SD = 0.4
BIAS_SD_MM = 0.06
EXCHANGE_SD, SPRING_SD = 0.035, 0.4
FILLER, FILLER_SD, MOST_FILLER = 0.25, 0.144, 0.55
"""Metal powder by mass: 0 to 0.5 alike (from memory)."""
UNIT_SHARE = 0.02
"""Units of a type differ so in what a mg does, and in how far another wax moves them."""
UNIT_FILLER = 0.005
STICK_OUT_SD_MM = 0.1
"""Of the cold pin's stick-out, read before and after (from memory)."""
IMPLAUSIBLE = 1e-3
FOOT_BELIEF, FOOT_MOST = 0.5, 4.0
SAMPLES = 512
_FIXED = 4
_SCATTERS = CLOSING_MM * np.exp(CLOSING_LOG_SD * np.array([-1.8, -1.0, -0.4, 0.2, 0.8, 1.5, 2.4]))
_DOSINGS = np.exp(DOSING_LOG_SD * np.array([-1.2, 0.0, 1.2]))


class TrimRound(NamedTuple):
    """One round on record: the unit's curve before and after, what was done, and the cold pin.

    `stick_out_mm` is how much further the pin stood out before closing, None where not read.
    """

    serial: str
    before: LiftCurve
    after: LiftCurve
    act: Act
    fill: Fill
    stick_out_mm: float | None = None


class Learnt(NamedTuple):
    """A figure with its standard deviation."""

    mean: float
    sd: float


class Surprise(NamedTuple):
    """How far a round lies from what was foretold, in mm of lift, and how probable that is."""

    found_mm: float
    foretold_mm: float
    sd_mm: float
    p: float

    @property
    def implausible(self) -> bool:
        """Whether the round is to be asked about before it is believed."""
        return self.p < IMPLAUSIBLE


class Samples(NamedTuple):
    """Equally likely values of all that is not known, for what the next round will do."""

    theta: Theta
    errors: Errors
    closing_scatter_mm: Floats
    unit: Floats
    """Normal: how this unit differs."""
    bath: Floats
    """Normal: how the reading errs."""
    power: Floats
    """Normal: how a move under power differs."""


class _Row(NamedTuple):
    """One observation of a round: number of its effect, value, variance but for scatters."""

    act: Act
    fill: Fill
    serial: str
    values: Floats
    covariance: Floats
    pin_only: bool


class TrimKnowledge:
    """What is known of a type's rework; `add` learns, everything else asks."""

    def __init__(
        self,
        *,
        dosing_sd_mg: float = 1.0,
        setting_sd_mm: float = 0.02,
        pin_known: bool = True,
        sources: Sequence[str] = (),
    ) -> None:
        self.rounds: tuple[TrimRound, ...] = ()
        self.dosing_sd_mg, self.setting_sd_mm = dosing_sd_mg, setting_sd_mm
        self.shape_logs: Floats = PRIOR_LOGS.copy()
        self._seen: frozenset[str] = frozenset()
        self._pin_sd = KNOWN_PIN_SD if pin_known else UNKNOWN_PIN_SD
        self._sources = tuple(dict.fromkeys((OWN, *sources)))
        self._rows: tuple[_Row, ...] = ()
        self._solve()

    @property
    def serials(self) -> frozenset[str]:
        """Units that taught something."""
        return frozenset(item.serial for item in self.rounds)

    def add(self, rounds: Sequence[TrimRound]) -> None:
        """Learn from rounds; a curve that shares no lift with the one before teaches nothing."""
        self.rounds += tuple(rounds)
        named = [name for item in rounds for name in _sources_of(item.act, item.fill)]
        self._meet(*named)
        for item in rounds:
            self._rows += tuple(self._told(item))
            self.see(item.serial, item.after)
        self._solve()

    def see(self, serial: str, curve: LiftCurve) -> None:
        """Learn from a unit's curve which melting shapes its type has: the foot of all others."""
        belief = FOOT_BELIEF if serial not in self._seen else FOOT_BELIEF / 2
        self._seen |= {serial}
        self.shape_logs = self.shape_logs + belief * np.maximum(curve.shape_evidence, -FOOT_MOST)

    def mm_per_mg(self, fill: Fill, source: str = CLEAN) -> Learnt:
        """Return what a mg from a source lifts, in mm."""
        act = Act(mass_in_mg=1.0, source=source, opened=False)
        lifts = self.expected(act, fill).lift_mm
        return Learnt(float(np.mean(lifts)), float(np.std(lifts)))

    def expected(self, act: Act, fill: Fill) -> Effect:
        """Return what an act does for equally likely values of what is not known."""
        return effect(act, fill, self.samples(act, fill).theta)

    def filler(self, source: str) -> Learnt:
        """Return the metal powder's share by mass of a source."""
        if source == CLEAN:
            return Learnt(0.0, 0.0)
        self._meet(source)
        return self._parameter(_FIXED + self._number(source))

    def closing_bias_mm(self) -> Learnt:
        """Return by how much opening and closing alone lifts."""
        return self._parameter(1)

    def closing_scatter_mm(self) -> Learnt:
        """Return the scatter of opening and closing."""
        scatter = self._scatter
        mean = float(self._weights @ scatter)
        return Learnt(mean, math.sqrt(float(self._weights @ (scatter - mean) ** 2)))

    def dosing_scatter_mg(self) -> Learnt:
        """Return the scatter of a dose."""
        mean = float(self._weights @ self._dosing)
        return Learnt(mean, math.sqrt(float(self._weights @ (self._dosing - mean) ** 2)))

    def spring_k_per_mpa(self) -> Learnt:
        """Return by how much a stiffer spring warms the opening."""
        found = self._parameter(3)
        return Learnt(0.24 * found.mean, 0.24 * found.sd)

    def surprise(self, item: TrimRound) -> Surprise | None:
        """Return how a round fits what is known without it, None where nothing compares."""
        told = [row for row in self._told(item) if not row.pin_only]
        if not told:
            return None
        row = self._observed(told[0])
        mean, jacobian = row.linear(self._theta)
        spread = row.covariance + jacobian @ self._covariance @ np.swapaxes(jacobian, 1, 2)
        sd = np.sqrt(spread[:, 0, 0])
        off = row.values[0] - mean[:, 0]
        p = float(self._weights @ (2 * ndtr(-np.abs(off) / sd)))
        foretold = float(self._weights @ mean[:, 0])
        variance = float(self._weights @ (sd**2 + (mean[:, 0] - foretold) ** 2))
        return Surprise(float(row.values[0]), foretold, math.sqrt(variance), p)

    def samples(self, act: Act, fill: Fill) -> Samples:
        """Return equally likely values for the next round; the same ask gives the same ones."""
        self._meet(*_sources_of(act, fill))
        size = self._theta.shape[1]
        normal = _normals(size + 9)
        at = (np.arange(len(normal)) + 0.5) / len(normal)
        node = np.searchsorted(np.cumsum(self._weights), at).clip(0, len(self._weights) - 1)
        node = node[np.argsort(normal[:, -1], kind="stable")]
        lower = np.linalg.cholesky(self._covariance)
        theta = self._theta[node] + np.einsum("sij,sj->si", lower[node], normal[:, :size])
        chosen = _possible(theta[:, _FIXED:])
        theta, node, free = theta[chosen], node[chosen], normal[chosen, size:]
        dosing, scatter = self._dosing[node], self._scatter[node]
        values = self._values(theta)
        own = np.clip(values.filler[OWN] + UNIT_FILLER * free[:, 6], 0.0, MOST_FILLER)
        values = values._replace(
            closing_mm=values.closing_mm + scatter * free[:, 0],
            filler={**values.filler, OWN: own},
        )
        errors = Errors(
            dosing * free[:, 1],
            dosing * free[:, 2],
            STICK_OUT_SD_MM * free[:, 3],
            self.setting_sd_mm * free[:, 8],
        )
        return Samples(values, errors, scatter, free[:, 4], free[:, 5], free[:, 7])

    def _meet(self, *sources: str) -> None:
        new = tuple(name for name in sources if name not in (CLEAN, *self._sources))
        if new:
            self._sources += tuple(dict.fromkeys(new))
            self._solve()

    def _number(self, source: str) -> int:
        return self._sources.index(source)

    def _parameter(self, number: int) -> Learnt:
        found = float(self._weights @ self._theta[:, number])
        variance = self._covariance[:, number, number] + (self._theta[:, number] - found) ** 2
        return Learnt(found, math.sqrt(float(self._weights @ variance)))

    def _values(self, theta: Floats) -> Theta:
        """Return named values of parameters in the last axis."""
        filler = {name: theta[..., _FIXED + i] for i, name in enumerate(self._sources)}
        wax, closing, exchange, spring = (theta[..., i] for i in range(_FIXED))
        return Theta(np.exp(wax), closing, exchange, spring, filler)

    def _foretold(self, row: _Row, theta: Floats) -> Floats:
        done: Effect = effect(row.act, row.fill, self._values(theta))
        if row.pin_only:
            return done.stick_out_mm[..., None]
        return np.stack([done.lift_mm, done.shift_k], axis=-1)

    def _observed(self, row: _Row) -> Observed:
        covariance = row.covariance + self._noise(row)
        return Observed(partial(self._foretold, row), row.values, covariance)

    def _noise(self, row: _Row) -> Floats:
        """Return the covariance of a row for every scatter: closing, doses, unit to unit."""
        act, area = row.act, row.fill.pin_area_mm2
        per_mg = 1.16 / area
        doses = act.doses * (per_mg * self._dosing) ** 2
        unit = (UNIT_SHARE * per_mg * (act.mass_in_mg - act.mass_out_mg)) ** 2
        unit += (UNIT_FILLER * per_mg * act.mass_out_mg) ** 2
        if row.pin_only:
            return np.asarray((doses + unit + STICK_OUT_SD_MM**2)[:, None, None])
        noise = np.zeros((len(self._scatter), 2, 2))
        noise[:, 0, 0] = doses + unit + (self._scatter**2 if act.opened else 1e-4)
        noise[:, 0, 0] += self.setting_sd_mm**2 if act.shim_mm else 0.0
        far = act.donor.full_shift_k * act.mass_in_mg / row.fill.mass_mg if act.donor else 0.0
        noise[:, 1, 1] = (UNIT_SHARE * far) ** 2 + 1e-4
        return noise

    def _told(self, item: TrimRound) -> list[_Row]:
        act, fill = item.act._replace(pin_stick_out_mm=None), item.fill
        done = self.expected(act, fill)
        shift = (float(np.mean(done.shift_k)), float(np.std(done.shift_k)))
        if act.donor is not None:
            full = abs(act.donor.full_shift_k)
            share = abs(shift[0]) / full if full else 0.0
            shift = (shift[0], math.hypot(shift[1], share * act.donor.u_shift_k))
        found: Moved | None = moved(item.before, item.after, float(np.mean(done.stretch)), shift)
        rows = []
        if found is not None:
            told = found.covariance.copy()
            values = np.array([found.lift_mm, found.shift_k])
            if act.donor is None and not act.spring_mpa:
                told[0, 1] = told[1, 0] = 0.0
            else:
                values, told = _without_prior(values, told, shift)
            rows.append(_Row(act, fill, item.serial, values, told, False))
        if item.stick_out_mm is not None and act.opened:
            value = np.array([item.stick_out_mm])
            rows.append(_Row(act, fill, item.serial, value, np.zeros((1, 1)), True))
        return rows

    def _solve(self) -> None:
        """Work out the posterior of everything for each pair of scatters."""
        scatter, dosing = np.meshgrid(_SCATTERS, _DOSINGS * self.dosing_sd_mg, indexing="ij")
        self._scatter, self._dosing = scatter.ravel(), dosing.ravel()
        sds = [self._pin_sd, BIAS_SD_MM, EXCHANGE_SD, SPRING_SD]
        mean = np.array([0.0, 0.0, 1.0, 1.0] + [FILLER] * len(self._sources))
        sd = np.array(sds + [FILLER_SD] * len(self._sources))
        logs = -0.5 * ((np.log(self._scatter / CLOSING_MM)) / CLOSING_LOG_SD) ** 2
        logs -= 0.5 * (np.log(self._dosing / self.dosing_sd_mg) / DOSING_LOG_SD) ** 2
        observed = [self._observed(row) for row in self._rows]
        found = regression(observed, mean, sd, len(logs))
        self._theta, self._covariance = found.theta, found.covariance
        logs = logs + found.evidence
        weights = np.exp(logs - logs.max())
        self._weights: Floats = weights / weights.sum()


def _without_prior(
    values: Floats, covariance: Floats, shift: tuple[float, float]
) -> tuple[Floats, Floats]:
    """Return what a move says alone: the shift believed beforehand is taken out again."""
    precision = np.linalg.inv(covariance)
    pulled = precision @ values
    told = max(shift[1], 1e-4) ** -2
    precision[1, 1] += -told + 1e-6
    pulled[1] += -told * shift[0] + 1e-6 * shift[0]
    alone = np.linalg.inv(precision)
    return alone @ pulled, alone


def _sources_of(act: Act, fill: Fill) -> tuple[str, ...]:
    return (act.source, *(part.source for part in fill.parts))


def _possible(fillers: Floats) -> np.ndarray:
    """Return the rows to go by: those whose every filler is one that can be, as far as they go."""
    off = np.maximum(-fillers, fillers - MOST_FILLER).max(axis=1)
    order = np.argsort(np.maximum(off, 0.0), kind="stable")
    return np.asarray(np.resize(order[: max(int((off <= 0).sum()), SAMPLES // 8)], SAMPLES))


def _normals(size: int) -> Floats:
    points = qmc.Sobol(size, scramble=True, seed=7).random(2 * SAMPLES)
    normal = ndtri(points.clip(1e-6, 1 - 1e-6))
    return np.asarray((normal - normal.mean(axis=0)) / normal.std(axis=0))
