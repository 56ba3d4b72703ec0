"""A unit's rising lift over wax temperature as rework moves it: measured part, foot, stop.

Rework moves the whole curve. More wax, a shim or a smaller cavity lift it by an equivalent lift;
another wax moves it along the temperature. What the valve shows is the free lift between its seat
and its stop, so wax added uncovers the foot of the curve, which is known with its doubt only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from proofbath.errors import InputError
from proofbath.proof.melting_fit import PRIOR_LOGS, Fitted, Prior, fit_shapes, free_lift_mm

Floats = np.ndarray

COLD_C = 20.0
"""A valve must be shut here, cold (common practice, no source)."""
START_MM = 0.1
SHOWN_LIFTS_MM = (0.1, 2.0, 4.0, 8.0)
USUAL_HYSTERESIS_K, USUAL_HYSTERESIS_SD_K = 4.0, 1.5
"""Of a unit whose closing was not measured: 2-8 K (from memory)."""
POWER_RELATIVE_U = 0.09 / 1.7
"""At constant power a curve moves as unpowered within 9 % up to 8 W [element model]."""
POWER_W = 8.0
MOST_POINTS = 32
_STEP_MM = 0.05
_LEVELS: Floats = np.arange(-14.0, 24.0, _STEP_MM)
_BATH_C: Floats = np.arange(-40.0, 180.0, 0.5)
_FADE_K = 3.0


class OpeningCurve(NamedTuple):
    """A measured rise at rest: lifts with their baths, from the seat up to the last one reached.

    A unit measured under a constant power states it in W; `unpowered_k` is how much warmer the
    bath is at the same lifts without power. `stop_mm` is the lift at which it met its stop.
    `u_bath_k` is what does not cancel between this run and the next one.
    """

    bath_c: tuple[float, ...]
    lift_mm: tuple[float, ...]
    u_mm: tuple[float, ...]
    u_bath_k: float = 0.1
    power_w: float = 0.0
    unpowered_k: float = 0.0
    hysteresis_k: float | None = None
    u_hysteresis_k: float = 0.3
    stop_mm: float | None = None


class Element(NamedTuple):
    """What is known of an element without measuring it: its pin and its wax, None where unknown."""

    pin_mm: float | None = None
    wax_mg: float | None = None

    @property
    def pin_area_mm2(self) -> float | None:
        """Area of the pin in mm²."""
        return None if self.pin_mm is None else math.pi / 4 * self.pin_mm**2

    def prior(self) -> Prior:
        """Return what the wax could lift, from its volume over the area of the pin."""
        area = self.pin_area_mm2
        if area is None or self.wax_mg is None:
            return Prior()
        return Prior(1.15 * self.wax_mg / area, 0.2)


class Interval(NamedTuple):
    """A figure with its 95 % interval."""

    mean: float
    low: float
    high: float


def interval(values: Floats, weights: Floats) -> Interval:
    """Return mean and 95 % interval of weighted values."""
    order = np.argsort(values)
    sorted_values, w = values[order], weights[order]
    middle = (np.cumsum(w) - 0.5 * w) / w.sum()
    low, high = np.interp([0.025, 0.975], middle, sorted_values)
    return Interval(float(values @ weights / weights.sum()), float(low), float(high))


@dataclass(frozen=True)
class LiftCurve:
    """A weighted set of possible curves of one unit, as it is or as an act will leave it.

    `offset_mm`, `stretch` and `shift_k` are what acts did to each of them: the lift at T is
    `offset + stretch · x(T - shift)`. `measured_mm` is the span of lifts that was measured.
    """

    warm_c: Floats
    """Temperature at every lift of the table, a row for every curve."""
    solid_mm_per_k: Floats
    melting_c: Floats
    weights: Floats
    offset_mm: Floats
    stretch: Floats
    shift_k: Floats
    measured_mm: tuple[float, float]
    u_bath_k: float
    shift_relative_u: float
    hysteresis_k: Interval
    stop_mm: float | None
    shape_evidence: Floats

    def __len__(self) -> int:
        return len(self.weights)

    def after_trim(self, lift_mm: Floats | float, stretch: Floats | float = 0.0) -> LiftCurve:
        """Return the curves lifted by an equivalent lift; more wax also stretches by its share."""
        by = 1.0 + stretch
        return replace(
            self,
            offset_mm=lift_mm + by * self.offset_mm,
            stretch=by * self.stretch,
            solid_mm_per_k=by * self.solid_mm_per_k,
        )

    def after_exchange(self, full_shift_k: Floats | float, share: Floats | float) -> LiftCurve:
        """Return the curves with a share of the wax by mass exchanged.

        `full_shift_k` is where the other wax melts less where this one does. Only melting moves;
        the solid expands as before, so all lifts move by a little less.
        """
        by = full_shift_k * share
        return replace(
            self,
            offset_mm=self.offset_mm + self.solid_mm_per_k * by,
            shift_k=self.shift_k + by,
            melting_c=self.melting_c + by,
        )

    def temperature_c(self, lift_mm: float, curve: np.ndarray | None = None) -> Floats:
        """Return the rising temperature at a lift for every curve, or those of `curve`."""
        rows = np.arange(len(self)) if curve is None else curve
        level = (lift_mm - self.offset_mm[rows]) / self.stretch[rows]
        at = np.clip((level - _LEVELS[0]) / _STEP_MM, 0.0, len(_LEVELS) - 1.001)
        lower = at.astype(int)
        part = at - lower
        table = self.warm_c
        found = (1 - part) * table[rows, lower] + part * table[rows, lower + 1]
        return np.asarray(found + self.shift_k[rows])

    def free_lift_mm(self, bath_c: float) -> Floats:
        """Return the lift of every curve at a temperature before seat and stop; shut below 0."""
        wanted, rows = bath_c - self.shift_k, np.arange(len(self))
        low = np.zeros(len(self), dtype=int)
        high = np.full(len(self), len(_LEVELS) - 1)
        for _ in range(len(_LEVELS).bit_length()):
            middle = (low + high) // 2
            colder = self.warm_c[rows, middle] <= wanted
            low, high = np.where(colder, middle, low), np.where(colder, high, middle)
        below, above = self.warm_c[rows, low], self.warm_c[rows, low + 1]
        part = np.clip((wanted - below) / (above - below), 0.0, 1.0)
        return np.asarray(self.offset_mm + self.stretch * (_LEVELS[low] + _STEP_MM * part))

    def lift_mm(self, bath_c: float) -> Floats:
        """Return the lift of every curve at a temperature, between seat and stop."""
        stop = math.inf if self.stop_mm is None else self.stop_mm
        return np.asarray(np.clip(self.free_lift_mm(bath_c), 0.0, stop))

    def slope_mm_per_k(self, lift_mm: float) -> float:
        """Return the mean slope of the curves at a lift."""
        warmer = self.temperature_c(lift_mm + 0.1) - self.temperature_c(lift_mm - 0.1)
        return float(1.0 / (self.weights @ (warmer / 0.2)))

    def resampled(self, count: int) -> LiftCurve:
        """Return `count` curves of equal weight that stand for the set, the same every time."""
        low = self.temperature_c(self.measured_mm[0] - 2.0)
        order = np.argsort(low)
        middle = np.cumsum(self.weights[order]) - 0.5 * self.weights[order]
        at = (np.arange(count) + 0.5) / count
        chosen = order[np.clip(np.searchsorted(middle, at), 0, len(order) - 1)]
        return self.reordered(chosen, np.full(count, 1.0 / count))

    def reordered(self, rows: np.ndarray, weights: Floats | None = None) -> LiftCurve:
        """Return these of the curves, in this order."""
        return replace(
            self,
            warm_c=self.warm_c[rows],
            solid_mm_per_k=self.solid_mm_per_k[rows],
            melting_c=self.melting_c[rows],
            weights=self.weights[rows] if weights is None else weights,
            offset_mm=self.offset_mm[rows],
            stretch=self.stretch[rows],
            shift_k=self.shift_k[rows],
        )


def lift_curve(
    opening: OpeningCurve, element: Element | None = None, shape_logs: Floats | None = None
) -> LiftCurve:
    """Return a unit's possible curves from its measured rise.

    Raises InputError where the points are no rise. One point is enough, with much doubt.
    """
    bath_c, lift_mm, u_mm = _points(opening)
    prior = (element or Element()).prior()
    fitted = fit_shapes(
        bath_c, lift_mm, u_mm, prior, PRIOR_LOGS if shape_logs is None else shape_logs
    )
    relative = POWER_RELATIVE_U * max(opening.power_w / POWER_W, 0.25) if opening.power_w else 0.0
    count = len(fitted.weights)
    return LiftCurve(
        _table(bath_c, lift_mm, u_mm, fitted) + opening.unpowered_k,
        np.exp(fitted.parameters[:, 1]),
        fitted.parameters[:, 3] + opening.unpowered_k,
        fitted.weights,
        np.zeros(count),
        np.ones(count),
        np.zeros(count),
        (float(lift_mm[0]), float(lift_mm[-1])),
        opening.u_bath_k,
        relative,
        _hysteresis(opening),
        opening.stop_mm,
        fitted.log_evidence,
    )


def _points(opening: OpeningCurve) -> tuple[Floats, Floats, Floats]:
    """Return a thinned, rising set of points below the stop; raises InputError."""
    bath_c, lift_mm, u_mm = (np.asarray(x, float) for x in opening[:3])
    if not len(bath_c) == len(lift_mm) == len(u_mm) or not len(bath_c):
        raise InputError(
            f"opening curve: {len(bath_c)} temperatures, {len(lift_mm)} lifts and {len(u_mm)}"
            " uncertainties; give one of each a point, one point at least"
        )
    told = np.concatenate([bath_c, lift_mm, u_mm])
    if not np.all(np.isfinite(told)) or np.any(u_mm <= 0):
        raise InputError("opening curve: every figure must be a number, every u above 0 mm")
    order = np.argsort(bath_c, kind="stable")
    bath_c, lift_mm, u_mm = bath_c[order], lift_mm[order], u_mm[order]
    held = math.inf if opening.stop_mm is None else opening.stop_mm - 0.05
    free = (lift_mm >= 0.05) & (lift_mm < held)
    if not free.any():
        raise InputError(
            f"opening curve: no lift between 0.05 mm and the stop, from {bath_c[0]:.1f} to"
            f" {bath_c[-1]:.1f} °C; measure where the valve opens"
        )
    bath_c, lift_mm, u_mm = bath_c[free], lift_mm[free], u_mm[free]
    if np.any(np.diff(lift_mm) < -4 * np.hypot(u_mm[1:], u_mm[:-1]) - 0.05):
        raise InputError(
            "opening curve: the lift falls while the bath rises; give the rising part alone"
        )
    if len(bath_c) > MOST_POINTS:
        wanted = np.linspace(0, np.sqrt(lift_mm[-1]), MOST_POINTS) ** 2
        chosen = np.unique(np.clip(np.searchsorted(lift_mm, wanted), 0, len(lift_mm) - 1))
        bath_c, lift_mm, u_mm = bath_c[chosen], lift_mm[chosen], u_mm[chosen]
    return bath_c, lift_mm, u_mm


def _table(bath_c: Floats, lift_mm: Floats, u_mm: Floats, fitted: Fitted) -> Floats:
    """Return the temperature at every level for every draw, led through what was measured."""
    free = free_lift_mm(_BATH_C, fitted.parameters, fitted.shape)
    off = lift_mm - free_lift_mm(bath_c, fitted.parameters, fitted.shape)
    # noise is no shape: what the fit misses counts by how far it exceeds the points' own doubt
    share = np.clip(1.0 - (u_mm**2).mean() / np.maximum((off**2).mean(axis=1), 1e-12), 0.0, 1.0)
    at = np.concatenate([[bath_c[0] - _FADE_K], bath_c, [bath_c[-1] + _FADE_K]])
    first = int(np.searchsorted(_BATH_C, bath_c[0]))
    rows = []
    for row, missed, part in zip(free, off, share, strict=True):
        led = row + part * np.interp(_BATH_C, at, np.concatenate([[0.0], missed, [0.0]]))
        # no wax shrinks as it warms: outward from what was measured, whatever was fitted
        led[first:] = np.maximum.accumulate(led[first:])
        led[:first] = np.minimum.accumulate(led[:first][::-1])[::-1]
        led += 1e-6 * np.arange(len(led))
        rows.append(np.interp(_LEVELS, led, _BATH_C) + 1e-6 * np.arange(len(_LEVELS)))
    return np.array(rows)


def _hysteresis(opening: OpeningCurve) -> Interval:
    if opening.hysteresis_k is None:
        mean, sd = USUAL_HYSTERESIS_K, USUAL_HYSTERESIS_SD_K
    else:
        mean, sd = opening.hysteresis_k, opening.u_hysteresis_k
    return Interval(mean, mean - 1.96 * sd, mean + 1.96 * sd)
