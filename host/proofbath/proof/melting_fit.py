"""The shape of a wax element's opening curve: several melting shapes, each fitted with its doubt.

Free lift is what the wax would lift if nothing held it shut: solid expansion plus the lift of
melting times the melted share. Only its part above the seat can be measured; the foot below is
extrapolated, and no single shape may be trusted with that. So several shapes are fitted, each is
weighed by how well it fits, and all that fit stay in.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
from scipy.special import ndtr, ndtri
from scipy.stats import qmc

Floats = np.ndarray

WIDTH_K, WIDTH_LOG_SD = 4.0, 0.35
"""Width of the melting range of element waxes (from memory)."""
MELTING_SHARE, SOLID_SHARE_PER_K = 0.125, 4e-4
"""Growth of wax on melting (published: 10-15 %) and of the solid a kelvin (from memory)."""
LIQUID_PER_K = 0.005
"""The lift of melting grows by this share a kelvin: liquid wax expands more than solid."""
SOLID_LOG_SD = 0.35
UNKNOWN_VOLUME_LOG_SD = 0.45
USUAL_VOLUME_LIFT_MM = 100.0
"""Volume of the wax over the area of the pin, where neither is known (from memory)."""
START_WIDTHS, START_WIDTHS_SD = -1.7, 0.9
"""Where a valve begins to lift, in widths from the middle of melting."""
LEAST_U_MM = 0.02
"""No shape is trusted to be truer than this."""
DRAWS_A_SHAPE = 16
POOR = 4.0
"""Squared residuals a point beyond which a fit is begun anew elsewhere."""
FIRST_GUESSES = ((-1.7, 4.0), (-1.2, 4.0), (-2.2, 5.5), (-2.5, 3.0), (-4.0, 4.0))
"""Where the valve begins to lift in widths, and the width in K, that a fit begins with."""
_ROUNDS, _LED_ROUNDS = 40, 6
_LEVEL_MM = 10.0
"""How far a draw may be lifted as a whole to meet the points: as far as it must."""
_MISSED_MM = 0.2
"""A draw nearer than that to what is foretold of the points needs no leading."""


class Shape(NamedTuple):
    """Melted share over temperature: `skew` 1 is the logistic, 0 the error function.

    Below 1 the foot is sharper, above it longer. A `minor` share melts `minor_k` colder.
    """

    name: str
    skew: float
    prior: float
    minor: float = 0.0
    minor_k: float = 0.0


SHAPES: tuple[Shape, ...] = (
    Shape("logistic", 1.0, 0.3),
    Shape("error function", 0.0, 0.2),
    Shape("sharp foot", 0.5, 0.1),
    Shape("long foot", 2.0, 0.1),
    Shape("small second phase far below", 1.0, 0.1, 0.06, 20.0),
    Shape("second phase below", 1.0, 0.1, 0.15, 12.0),
    Shape("large second phase near", 0.0, 0.1, 0.3, 9.0),
)
_SKEW = np.array([[max(shape.skew, 0.1)] for shape in SHAPES])
_NORMAL = np.array([[shape.skew == 0.0] for shape in SHAPES])
_MINOR = np.array([[shape.minor] for shape in SHAPES])
_MINOR_K = np.array([[shape.minor_k] for shape in SHAPES])
PRIOR_LOGS: Floats = np.log([shape.prior for shape in SHAPES])


class Prior(NamedTuple):
    """What is known of an element before it is measured: wax volume over pin area in mm."""

    volume_lift_mm: float = USUAL_VOLUME_LIFT_MM
    log_sd: float = UNKNOWN_VOLUME_LOG_SD


class Fitted(NamedTuple):
    """Parameters of every draw (rows) with its shape and weight, and each shape's evidence."""

    parameters: Floats
    shape: np.ndarray
    weights: Floats
    log_evidence: Floats


def free_lift_mm(bath_c: Floats, parameters: Floats, shape: np.ndarray) -> Floats:
    """Return the free lift of every draw (rows) at every temperature (columns)."""
    level, solid, melt, middle, width = (parameters[:, i : i + 1] for i in range(5))
    width = np.exp(width)
    melted = _melted((bath_c - middle) / width, width, shape)
    grown = 1.0 + LIQUID_PER_K * (bath_c - middle)
    return np.asarray(
        level + np.exp(solid) * (bath_c - middle) + np.exp(melt) * melted * np.maximum(grown, 0.2)
    )


def _melted(z: Floats, width: Floats, shape: np.ndarray) -> Floats:
    skew, normal = _SKEW[shape], _NORMAL[shape]
    minor, minor_k = _MINOR[shape], _MINOR_K[shape]

    def major(at: Floats) -> Floats:
        held = np.exp(np.clip(-at, -60.0, 60.0))
        general = (1.0 + skew * held) ** (-1.0 / skew)
        return np.where(normal, ndtr(at / 1.7), general)

    return np.asarray((1.0 - minor) * major(z) + minor * major(z + minor_k / width))


def fit_shapes(
    bath_c: Floats, lift_mm: Floats, u_mm: Floats, prior: Prior, prior_logs: Floats
) -> Fitted:
    """Return draws of the free lift from every shape that fits; the same input gives the same."""
    u = np.hypot(u_mm, LEAST_U_MM)
    centre, spread = _priors(prior)
    told = _Told(bath_c, lift_mm, u, centre, spread)
    best, cost, precision = _least_squares(told, FIRST_GUESSES[:1])
    if cost.min() > POOR * len(bath_c):
        best, cost, precision = _best_of_each(*_least_squares(told, FIRST_GUESSES))
    freedom = max(len(bath_c) - 3, 1)
    widened = max(1.0, float(cost.min()) / freedom)
    _, log_det = np.linalg.slogdet(precision)
    evidence = -0.5 * cost / widened - 0.5 * log_det
    logs = evidence + prior_logs
    weights = np.exp(logs - logs.max())
    weights[weights < 1e-3] = 0.0
    weights /= weights.sum()
    kept = np.flatnonzero(weights)
    normal = _normals()
    draws = np.concatenate([_draws(best[i], precision[i] / widened, normal) for i in kept])
    shape = np.repeat(kept, DRAWS_A_SHAPE)
    return Fitted(
        _led_to_points(draws, np.repeat(best[kept], DRAWS_A_SHAPE, axis=0), shape, told),
        shape,
        np.repeat(weights[kept] / DRAWS_A_SHAPE, DRAWS_A_SHAPE),
        evidence - evidence.max(),
    )


def _priors(prior: Prior) -> tuple[Floats, Floats]:
    """Return centre and spread of log solid, log melt, log width and the start in widths."""
    centre = [
        math.log(SOLID_SHARE_PER_K * prior.volume_lift_mm),
        math.log(MELTING_SHARE * prior.volume_lift_mm),
        math.log(WIDTH_K),
        START_WIDTHS,
    ]
    solid_sd = math.hypot(SOLID_LOG_SD, prior.log_sd)
    return np.array(centre), np.array([solid_sd, prior.log_sd, WIDTH_LOG_SD, START_WIDTHS_SD])


class _Told(NamedTuple):
    """What a fit goes by: the points, and centre and spread of what is known beforehand."""

    bath_c: Floats
    lift_mm: Floats
    u_mm: Floats
    centre: Floats
    spread: Floats


def _least_squares(
    told: _Told, first: Sequence[tuple[float, float]]
) -> tuple[Floats, Floats, Floats]:
    """Return parameters, cost and precision of every shape from every guess (Gauss-Newton)."""
    bath_c, lift_mm, u, centre, spread = told
    shape = np.tile(np.arange(len(SHAPES)), len(first))
    start_c = float(bath_c[0])
    guesses = [
        [0.0, centre[0], centre[1], start_c - widths * width, math.log(width)]
        for widths, width in first
    ]
    p = np.repeat(np.array(guesses), len(SHAPES), axis=0)
    p[:, 0] += (lift_mm - free_lift_mm(bath_c, p, shape)).mean(axis=1)

    def residuals(at: Floats) -> Floats:
        off = (free_lift_mm(bath_c, at, shape) - lift_mm) / u
        in_widths = (start_c - at[:, 3]) / np.exp(at[:, 4])
        known = np.column_stack([at[:, 1], at[:, 2], at[:, 4], in_widths])
        return np.concatenate([off, (known - centre) / spread], axis=1)

    r = residuals(p)
    cost, damping = (r**2).sum(axis=1), np.full(len(shape), 1e-2)
    for _ in range(_ROUNDS):
        jacobian = _jacobian(residuals, p, r)
        square = np.einsum("fni,fnj->fij", jacobian, jacobian)
        gradient = np.einsum("fni,fn->fi", jacobian, r)
        scale = np.einsum("fii->fi", square)[:, :, None] * np.eye(5)
        step = np.linalg.solve(square + damping[:, None, None] * scale, gradient[..., None])
        tried = p - np.clip(step[..., 0], -10.0, 10.0)
        r_tried = residuals(tried)
        cost_tried = (r_tried**2).sum(axis=1)
        better = cost_tried < cost
        gained = float(np.max(np.where(better, cost - cost_tried, 0.0)))
        p[better], r[better], cost[better] = tried[better], r_tried[better], cost_tried[better]
        damping = np.clip(np.where(better, damping / 5, damping * 5), 1e-9, 1e6)
        if better.any() and gained < 1e-3:
            break
    jacobian = _jacobian(residuals, p, r)
    return p, cost, np.einsum("fni,fnj->fij", jacobian, jacobian)


def _best_of_each(best: Floats, cost: Floats, precision: Floats) -> tuple[Floats, Floats, Floats]:
    """Return for every shape what came out best, whatever it began with."""
    chosen = np.argmin(cost.reshape(-1, len(SHAPES)), axis=0)
    rows = chosen * len(SHAPES) + np.arange(len(SHAPES))
    return best[rows], cost[rows], precision[rows]


def _jacobian(residuals: Callable[[Floats], Floats], p: Floats, r: Floats) -> Floats:
    columns = []
    for i, step in enumerate((1e-4, 1e-4, 1e-4, 1e-3, 1e-4)):
        moved = p.copy()
        moved[:, i] += step
        columns.append((residuals(moved) - r) / step)
    return np.stack(columns, axis=2)


def _draws(best: Floats, precision: Floats, normal: Floats) -> Floats:
    lower = np.linalg.cholesky(precision)
    return np.asarray(best + np.linalg.solve(lower.T, normal.T).T)


def _led_to_points(draws: Floats, best: Floats, shape: np.ndarray, told: _Told) -> Floats:
    """Return the draws moved to where they meet the points as nearly as straight lines foretell.

    Few points leave parameters so free that a draw from a straightened fit misses them widely.
    """
    bath_c, _, u, _, spread = told

    def lift(at: Floats) -> Floats:
        return free_lift_mm(bath_c, at, shape)

    def slopes(at: Floats) -> Floats:
        return _jacobian(lift, at, lift(at))

    wanted = lift(best) + np.einsum("dni,di->dn", slopes(best), draws - best)
    free = np.array([_LEVEL_MM, spread[0], spread[1], spread[3] * WIDTH_K, spread[2]])
    moved = draws
    for _ in range(_LED_ROUNDS):
        off = (lift(moved) - wanted) / u
        missed = np.abs(off * u).max(axis=1) > _MISSED_MM
        if not missed.any():
            break
        jacobian = slopes(moved) / u[:, None]
        square = np.einsum("dni,dnj->dij", jacobian, jacobian) + np.diag(free**-2.0)
        pulled = np.einsum("dni,dn->di", jacobian, off)
        step = np.linalg.solve(square, pulled[..., None])[..., 0]
        moved = moved - missed[:, None] * step
    return moved


def _normals() -> Floats:
    """Return normal points that fill their space evenly, centred and of unit spread."""
    points = qmc.Sobol(5, scramble=False).random_base2(5)[1 : DRAWS_A_SHAPE + 1]
    normal = ndtri(np.clip(points, 1e-3, 1 - 1e-3))
    normal = (normal - normal.mean(axis=0)) / normal.std(axis=0)
    return np.asarray(normal)
