"""Starts under power drawn to no power, over a mixture of laws of the film round the cup.

The film between bath and cup may conduct better or worse the more the cup is heated (free
convection, surface boiling, gas). Which law holds is not known of a unit, and between powers it
hardly shows; beyond the coolest power it decides. So each law is fitted with priors on all it does
not show, the fits are weighed by how well they explain the events (their evidence times the law's
prior weight), and the interval is that of the whole mixture.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Literal, NamedTuple

import numpy as np
from scipy import stats
from scipy.special import ndtr

from proofbath.curve.budget import LEVEL
from proofbath.curve.drive import NOMINAL_K_PER_W, PoweredEvent
from proofbath.curve.record import Floats

EXCESS_K = 5.0
"""Excess of the cup over the bath at which a film's resistance is stated."""
# From memory, the element model's population: wax of 0.5 to 1.2 W/K of whose power up to a third
# may enter the cup, film of 1.2 to 1.8 W/K.
WAX_K_PER_W, WAX_U_K_PER_W = 1.25, 0.45
FILM_K_PER_W, FILM_U_K_PER_W = 0.67, 0.15
# Of the squared shift: a core hotter than its shells bends the line, and so does a film that grows
# 0 to 0.4 % per K of bath. Own computation on the element model with three shells: 0.0021 without
# growth, 0.0029 with 0.3 % per K, 0.0027 with a core of 0.3 to 0.6 K/W.
CURVATURE_PER_K, CURVATURE_U_PER_K = 0.0022, 0.0008
FREE_CURVATURE_PER_K = 0.05
BENT_CHANCE = 0.01 / 3
"""Of each of three tests."""
NO_POWER_W = 0.1
START, WAX, FILM, LAG, CURVATURE = range(5)


class FilmLaw(NamedTuple):
    """A law of the film with its prior weight.

    `exponent`: the film goes with the cup's excess over the bath to this power. `linear`: it grows
    by this share a kelvin of excess, below 0 it falls (as 1 / (1 + share excess)).
    """

    kind: Literal["exponent", "linear"]
    number: float
    weight: float

    @property
    def steep(self) -> bool:
        """Tell whether the film grows faster than free convection lets it."""
        return self.kind == "exponent" and self.number > HANDBOOK_EXPONENT

    def excess_k(self, film_k_per_w: float, power_w: Floats) -> tuple[Floats, Floats]:
        """Return the cup's excess and its derivative by the film's resistance."""
        bare_k = film_k_per_w * power_w
        if self.kind == "exponent":
            grown = 1.0 + self.number
            excess_k = EXCESS_K * (bare_k / EXCESS_K) ** (1.0 / grown)
            return excess_k, excess_k / (grown * film_k_per_w)
        if self.number > 0.0:
            root = np.sqrt(1.0 + 4.0 * self.number * bare_k)
            return (root - 1.0) / (2.0 * self.number), power_w / root
        carries = np.maximum(1.0 + self.number * bare_k, 0.05)
        return bare_k / carries, power_w / carries**2

    def local_k_per_w(self, film_k_per_w: float, power_w: Floats) -> Floats:
        """Return by how much the cup's excess grows a watt; near no power as at 0.1 W."""
        watts = np.maximum(power_w, NO_POWER_W)
        return film_k_per_w * self.excess_k(film_k_per_w, watts)[1] / watts


HANDBOOK_EXPONENT = 1.0 / 3.0
STEEPEST_EXPONENT = 0.5
HANDBOOK_EXPONENT, STEEPEST_EXPONENT = 0.25, 0.5
STEEP_WEIGHT = 0.06
LAWS = (
    FilmLaw("exponent", 0.0, 0.58),
    *(FilmLaw("exponent", n, 0.03) for n in (0.05, 0.1, 0.15, 0.2, HANDBOOK_EXPONENT)),
    *(FilmLaw("exponent", n, STEEP_WEIGHT / 3) for n in (0.33, 0.42, STEEPEST_EXPONENT)),
    *(FilmLaw("linear", n, 0.07) for n in (-0.065, -0.05, -0.03)),
)
"""No measurement: over half for a film that does not mind, as one well stirred; exponents to 1/4,
as handbooks have it for laminar free convection (from memory; about 3 cm of cup a few kelvins
hotter than water at 90 deg C it is laminar: Rayleigh number 2e7, turbulent from 1e9); a little for
steeper films; a fifth for films that fall, as under gas. Weights and ends were chosen so that the
intervals of the study hold. A film that grows in proportion lies among the exponents."""


class Known(NamedTuple):
    """What goes before the events: the lag in s for a resistance, and a cycle's scatter in K."""

    lag: Callable[[float], tuple[float, float]]
    scatter_k: float
    scatter_dof: float


class LawFit(NamedTuple):
    """One law fitted: start, wax, film, lag and curvature with their covariance.

    `start_weights` say what an event and each prior weigh in the start; `left` is what the fit
    leaves of each event and prior in their standard uncertainties, `columns` how they go with the
    solution; `misfit` is the square of all that is left, `events_misfit` that of the events alone
    beyond their `freedom`.
    """

    solution: Floats
    covariance: Floats
    start_weights: Floats
    prior_u: Floats
    log_evidence: float
    left: Floats
    columns: Floats
    misfit: float
    events_misfit: float
    freedom: float


class Mixture(NamedTuple):
    """The start at no power and zero rate over all laws; the `..._u_k` are shares of its u."""

    start_c: float
    shift_k_per_w: float
    shift_u_k_per_w: float
    scatter_u_k: float
    noise_u_k: float
    resistance_u_k: float
    lag_u_k: float
    curvature_u_k: float
    law_u_k: float
    steep: float
    """What the steep laws weigh, seen the events; without them `STEEP_WEIGHT`."""
    bent: str | None
    event_weights: tuple[float, ...]
    """By how much the start moves with each event's bath."""


class _Events(NamedTuple):
    power_w: Floats
    bath_c: Floats
    power_rate: Floats
    bath_rate: Floats
    noise_k: Floats


def fit_laws(events: Sequence[PoweredEvent], known: Known) -> Mixture:
    """Fit every law to the events and return the mixture; raises ValueError without events."""
    if not events:
        raise ValueError("no event to fit")
    seen = _Events(
        np.array([event.power_w for event in events]),
        np.array([event.bath_c for event in events]),
        np.array([event.power_rate_w_per_s for event in events]),
        np.array([event.bath_rate_k_per_s for event in events]),
        np.array([event.noise_u_k for event in events]),
    )
    fits = [_fit(law, seen, known, CURVATURE_U_PER_K) for law in LAWS]
    chances = np.array([f.log_evidence for f in fits]) + np.log([law.weight for law in LAWS])
    weights = np.exp(chances - chances.max())
    weights /= weights.sum()
    starts = np.array([f.solution[START] for f in fits])
    sds = np.array([math.sqrt(f.covariance[START, START]) for f in fits])
    start_c, half_k = central(starts, sds, weights)
    inside = float(weights @ sds**2)
    shift, shift_u = _shift(fits, weights, float(seen.power_w.max()))
    free = _fit(LAWS[0], seen, known, FREE_CURVATURE_PER_K)
    return Mixture(
        start_c,
        shift,
        shift_u,
        *_shares(fits, weights, seen.noise_k, known.scatter_k),
        math.sqrt(max((half_k / float(stats.norm.ppf(0.5 + LEVEL / 2))) ** 2 - inside, 0.0)),
        float(sum(w for law, w in zip(LAWS, weights, strict=True) if law.steep)),
        _bent(fits, int(np.argmax(chances)), free, known.scatter_dof),
        tuple((weights @ np.array([f.start_weights for f in fits]))[: len(events)].tolist()),
    )


def central(
    values: Floats, sds: Floats, weights: Floats, level: float = LEVEL
) -> tuple[float, float]:
    """Return the middle and half width of what a mixture of normals holds, equal tails left out.

    The middle, not the mean: a law far to one side widens the interval to that side alone.
    """
    ends = [_quantile(values, sds, weights, share) for share in (0.5 - level / 2, 0.5 + level / 2)]
    return (ends[0] + ends[1]) / 2.0, (ends[1] - ends[0]) / 2.0


def _quantile(values: Floats, sds: Floats, weights: Floats, share: float) -> float:
    low, high = float(np.min(values - 8.0 * sds)), float(np.max(values + 8.0 * sds))
    for _ in range(50):
        half = (low + high) / 2.0
        below = float(weights @ ndtr((half - values) / sds))
        low, high = (half, high) if below < share else (low, half)
    return half


def _fit(law: FilmLaw, seen: _Events, known: Known, curvature_u: float) -> LawFit:
    """Return one law's fit: Gauss-Newton on T = T0 - wax P - excess(P) - c P^2 + lag rate."""
    x = np.array([seen.bath_c.max() + 5.0, WAX_K_PER_W, FILM_K_PER_W, 45.0, 0.0])
    sds = np.hypot(seen.noise_k, known.scatter_k)
    power_w, count = seen.power_w, len(seen.power_w)
    for _ in range(6):
        k_per_w = float(x[WAX] + x[FILM])
        excess_k, by_film = law.excess_k(float(x[FILM]), power_w)
        local = x[WAX] + law.local_k_per_w(float(x[FILM]), power_w)
        lagging = _lagging(seen, np.minimum(local / k_per_w, 3.0), k_per_w)
        shown = x[START] - x[WAX] * power_w - excess_k - x[CURVATURE] * power_w**2
        shown = shown + x[LAG] * lagging
        columns = [np.ones(count), -power_w, -by_film, lagging, -(power_w**2)]
        lag_s, lag_u_s = known.lag(k_per_w)
        prior = np.array([WAX_K_PER_W, FILM_K_PER_W, k_per_w * lag_s, CURVATURE_PER_K * k_per_w**2])
        prior_u = np.array(
            [WAX_U_K_PER_W, FILM_U_K_PER_W, k_per_w * lag_u_s, curvature_u * k_per_w**2]
        )
        all_sds = np.concatenate([sds, prior_u])
        scaled = np.vstack([np.column_stack(columns), np.eye(5)[1:]]) / all_sds[:, None]
        rest = np.concatenate([seen.bath_c - shown, prior - x[1:]]) / all_sds
        covariance = np.linalg.inv(scaled.T @ scaled)
        step = covariance @ scaled.T @ rest
        x = x + step
        x[WAX], x[FILM] = max(float(x[WAX]), 0.1), min(max(float(x[FILM]), 0.15), 1.6)
    left = rest - scaled @ step
    hat = np.einsum("ij,jk,ik->i", scaled, covariance, scaled)[:count]
    evidence = 0.5 * float(np.linalg.slogdet(covariance)[1]) - float(np.log(prior_u).sum())
    return LawFit(
        x,
        covariance,
        covariance[START] @ scaled.T / all_sds,
        prior_u,
        evidence - 0.5 * float(left @ left),
        left,
        scaled,
        float(left @ left),
        float(left[:count] @ left[:count]),
        count - float(hat.sum()),
    )


def _lagging(seen: _Events, local: Floats, k_per_w: float) -> Floats:
    """Return by what an event's lag is multiplied, with the shift's local slope over the mean's.

    The wax takes its heat from the power as its temperature follows it, both by the local slope.
    """
    return (seen.power_rate * local + seen.bath_rate / k_per_w) * local


def _shares(
    fits: Sequence[LawFit], weights: Floats, noise_k: Floats, scatter_k: float
) -> tuple[float, float, float, float, float]:
    """Return what scatter, noise, resistances, lag and curvature bring, over the laws."""
    count = len(noise_k)
    squares = np.zeros(5)
    for weight, fit in zip(weights, fits, strict=True):
        of_events, of_priors = fit.start_weights[:count], fit.start_weights[count:]
        priors = (of_priors * fit.prior_u) ** 2
        squares += weight * np.array(
            [
                (of_events**2).sum() * scatter_k**2,
                ((of_events * noise_k) ** 2).sum(),
                priors[0] + priors[1],
                priors[2],
                priors[3],
            ]
        )
    scatter, noise, resistance, lag, curvature = np.sqrt(squares).tolist()
    return scatter, noise, resistance, lag, curvature


def _shift(fits: Sequence[LawFit], weights: Floats, most_w: float) -> tuple[float, float]:
    """Return the mean shift per watt up to the strongest power, and its u over the laws."""
    values, variances = [], []
    for law, fit in zip(LAWS, fits, strict=True):
        excess_k, by_film = law.excess_k(float(fit.solution[FILM]), np.array([max(most_w, 0.1)]))
        most = max(most_w, 0.1)
        row = np.array([0.0, -1.0, -float(by_film[0]) / most, 0.0, -most])
        x = fit.solution
        values.append(-float(x[WAX]) - float(excess_k[0]) / most - float(x[CURVATURE]) * most)
        variances.append(float(row @ fit.covariance @ row))
    mean = float(weights @ np.array(values))
    spread = float(weights @ (np.array(variances) + (np.array(values) - mean) ** 2))
    return mean, math.sqrt(spread)


def _bent(fits: Sequence[LawFit], best: int, free: LawFit, scatter_dof: float) -> str | None:
    """Return how the events contradict the laws known, None where they do not.

    Three tests that share 1 %: what is left of the events against their scatter (F), whether a
    curvature left free explains them so much better that no law's own will do, and whether they
    lean from free convection to a steeper law.
    """
    fit = fits[best]
    if fit.freedom >= 1.0:
        ratio = fit.events_misfit / fit.freedom
        if float(stats.f.sf(ratio, fit.freedom, scatter_dof)) < BENT_CHANCE:
            return (
                f"the starts lie {math.sqrt(ratio):.1f} times their scatter off any film law;"
                " look for a power or a bath that was not what it is said to be"
            )
    better = min(f.misfit for f in fits) - free.misfit
    if better > 0.0 and float(stats.f.sf(better, 1.0, scatter_dof)) < BENT_CHANCE:
        return (
            f"the shift bends by {free.solution[CURVATURE]:+.4f} K/W² of itself, which no film law"
            f" known does (nominal {CURVATURE_PER_K * NOMINAL_K_PER_W**2:+.4f}); more powers,"
            " nearer to the bath's limit"
        )
    numbers = [law.number if law.kind == "exponent" else 0.0 for law in LAWS]
    usual, steepest = (
        fits[numbers.index(number)] for number in (HANDBOOK_EXPONENT, STEEPEST_EXPONENT)
    )
    if float(stats.t.sf(_leaning(usual, steepest), scatter_dof)) < BENT_CHANCE:
        return (
            "the film conducts better the more the cup is heated, faster than free convection"
            f" (with the excess to the power {STEEPEST_EXPONENT:g} rather than"
            f" {HANDBOOK_EXPONENT:g}); look for gas or scale on the cup, take a hotter bath"
        )
    return None


def _leaning(of: LawFit, to: LawFit) -> float:
    """Return how many standard deviations what one fit leaves leans toward another.

    A score test: what is left, along the way from one law's fit to the other's, less what the
    first law could have fitted itself.
    """
    way = of.left - to.left
    own, *_ = np.linalg.lstsq(of.columns, way, rcond=None)
    free = way - of.columns @ own
    length = float(np.linalg.norm(free))
    return float(of.left @ free) / length if length > 1e-6 else 0.0
