"""Decision rules: from a result and a limit to one of four outcomes, with the probability.

Guard bands after ILAC-G8:09/2019 and ISO 14253-1, probability of conformity after JCGM 106:2012.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from statistics import NormalDist

from proofbath.proof.specification import Limit, Rule
from proofbath.quantity.quantity import Quantity
from proofbath.quantity.words import difference_unit_of, unit_of

GUARD_BAND_PER_U: dict[Rule, float] = {"guard_band_u": 1.0, "iso_14253_1": 0.83, "simple": 0.0}
MANY_DOF = 1e6
ROUNDING = 1e-9


class Outcome(StrEnum):
    """What a decision came to; INVALID was refused, UNSET had no value: neither ever passes."""

    PASS = "pass"
    CONDITIONAL_PASS = "conditional pass"
    CONDITIONAL_FAIL = "conditional fail"
    FAIL = "fail"
    INVALID = "invalid"
    UNSET = "unset"


@dataclass(frozen=True)
class Decision:
    """One limit judged: outcome, its reason in words, guard band, and probability of conformity.

    `probability` is None where nothing was judged; `acceptance` holds the guarded limits.
    """

    limit: Limit
    outcome: Outcome
    reason: str
    measured: Quantity | None = None
    guard_band: float | None = None
    acceptance: tuple[float | None, float | None] = (None, None)
    probability: float | None = None


def acceptance_limits(
    limit: Limit, expanded_uncertainty: float, rule: Rule
) -> tuple[float | None, float | None]:
    """Return lower and upper acceptance limit: the tolerance limits moved inward by w = r U."""
    low, high = limit.bounds
    w = GUARD_BAND_PER_U[rule] * expanded_uncertainty
    return (None if low is None else low + w), (None if high is None else high - w)


def decide(limit: Limit, measured: Quantity | None, rule: Rule, why_missing: str = "") -> Decision:
    """Judge one result by one limit; what cannot be judged is refused with its reason.

    `why_missing` is known of a result that is not there at all.
    """
    if measured is None:
        why = ": ".join(filter(None, (f"no result of {limit.called()}", why_missing)))
        return Decision(limit, Outcome.UNSET, why)
    value, big_u = measured.value, measured.expanded_uncertainty
    if value is None or not math.isfinite(value):
        return Decision(limit, Outcome.UNSET, measured.reason or "the result is null", measured)
    unlike = limit.unlike(measured)
    if unlike:
        return Decision(limit, Outcome.INVALID, unlike, measured)
    if big_u is None or not 0 < big_u < math.inf or not measured.standard_uncertainty:
        text = "the result states no uncertainty; give the bench's budget"
        return Decision(limit, Outcome.INVALID, text, measured)
    if big_u > limit.judged_with_u + ROUNDING:
        apart = difference_unit_of(limit.quantity)
        text = (
            f"bench not good enough for this specification: U {big_u:.3g} {apart}, at most"
            f" {limit.judged_with_u:.3g} {apart} (half the tolerance); measure better or widen the"
            " limits"
        )
        return Decision(limit, Outcome.INVALID, text, measured)
    return _judged(limit, measured, value, big_u, rule)


def _judged(limit: Limit, measured: Quantity, value: float, big_u: float, rule: Rule) -> Decision:
    w = GUARD_BAND_PER_U[rule] * big_u
    acceptance = acceptance_limits(limit, big_u, rule)
    inside = _room(value, limit.bounds)
    if inside >= w - ROUNDING:
        outcome = Outcome.PASS
    elif inside >= -ROUNDING:
        outcome = Outcome.CONDITIONAL_PASS
    elif inside >= -w - ROUNDING:
        outcome = Outcome.CONDITIONAL_FAIL
    else:
        outcome = Outcome.FAIL
    side = "inside" if inside >= -ROUNDING else "outside"
    apart = difference_unit_of(limit.quantity)
    reason = (
        f"{value:.4g} {unit_of(limit.quantity)} lies {abs(inside):.3g} {apart} {side} its limit;"
        f" guard band {w:.3g} {apart}"
    )
    chance = probability_of_conformity(measured, limit)
    return Decision(limit, outcome, reason, measured, w, acceptance, chance)


def _room(value: float, bounds: tuple[float | None, float | None]) -> float:
    low, high = bounds
    below = math.inf if low is None else value - low
    above = math.inf if high is None else high - value
    return min(below, above)


def probability_of_conformity(measured: Quantity, limit: Limit) -> float:
    """Return the probability that the true value lies inside the limits.

    JCGM 106:2012 clause 7, without prior knowledge of the value: normal, or Student's t where
    the uncertainty has few degrees of freedom (JCGM 101:2008 6.4.9). Raises ValueError for a null.
    """
    value, u = measured.value, measured.standard_uncertainty
    if value is None or not u:
        raise ValueError("a null result has no probability")
    below = _distribution(measured.degrees_of_freedom)
    low, high = limit.bounds
    up_to_high = 1.0 if high is None else below((high - value) / u)
    return up_to_high - (0.0 if low is None else below((low - value) / u))


def _distribution(degrees_of_freedom: float) -> Callable[[float], float]:
    if degrees_of_freedom > MANY_DOF:
        return NormalDist().cdf
    from scipy import stats

    return lambda x: float(stats.t.cdf(x, degrees_of_freedom))


def risk_at_acceptance_limit(guard_band_per_u: float, coverage_factor: float = 2.0) -> float:
    """Return the largest chance that a just accepted value is outside its limit (one-sided)."""
    return NormalDist().cdf(-guard_band_per_u * coverage_factor)


def global_risks(
    density: Callable[[float], float],
    limit: Limit,
    standard_uncertainty: float,
    acceptance: tuple[float | None, float | None],
    span: tuple[float, float],
) -> tuple[float, float]:
    """Return consumer's and producer's risk over a whole production (JCGM 106:2012 clause 9).

    `density` is the probability density of the units' true values over `span`; consumer's risk is
    the share accepted and outside, producer's risk the share rejected and inside.
    """
    from scipy.integrate import quad

    low, high = limit.bounds
    noise = NormalDist(0.0, standard_uncertainty)
    ends = (span[0] if low is None else low, span[1] if high is None else high)

    def accepted(true: float) -> float:
        lower, upper = acceptance
        up_to_upper = 1.0 if upper is None else noise.cdf(upper - true)
        return up_to_upper - (0.0 if lower is None else noise.cdf(lower - true))

    def over(function: Callable[[float], float], start: float, end: float) -> float:
        return float(quad(function, start, end, limit=200)[0]) if end > start else 0.0

    consumer = over(lambda x: density(x) * accepted(x), span[0], ends[0])
    consumer += over(lambda x: density(x) * accepted(x), ends[1], span[1])
    return consumer, over(lambda x: density(x) * (1.0 - accepted(x)), *ends)


def probability_in_words(probability: float) -> str:
    """Return a probability of conformity as a sentence for a certificate."""
    hundredths = math.floor(100 * probability)
    if hundredths >= 99:
        return "the chance that the true value lies inside the limits is better than 99 in 100"
    if hundredths < 1:
        return "the chance that the true value lies inside the limits is less than 1 in 100"
    return f"the chance that the true value lies inside the limits is about {hundredths} in 100"
