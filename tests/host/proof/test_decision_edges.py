"""Decisions at their boundaries, with one-sided limits, and with everything they state."""

from __future__ import annotations

import math

import pytest
from scipy import stats

from host.proof.stated import changed, stated
from proofbath.proof.decision import (
    Decision,
    Outcome,
    acceptance_limits,
    decide,
    global_risks,
    probability_in_words,
    probability_of_conformity,
)
from proofbath.proof.specification import Limit, Rule, Specification
from proofbath.proof.verdict import Verdict, judge, statement
from proofbath.quantity.quantity import Quantity

START = Limit(quantity="start_to_open_c", nominal=82.0, tolerance=2.0, threshold_mm=0.1)
LIFT = Limit(quantity="full_lift_mm", lower=8.0, nominal=9.0)
RETURN = Limit(quantity="zero_return_mm", upper=0.25, largest_u=0.125)


def start(value: float | None, u: float | None = 0.25) -> Quantity:
    big_u = None if u is None else 2 * u
    return stated("start_to_open_c", value, u, big_u, rate="zero", threshold_mm=0.1)


@pytest.mark.parametrize(
    ("limit", "rule", "low", "high"),
    [
        (START, "guard_band_u", 80.5, 83.5),
        (START, "iso_14253_1", 80.415, 83.585),
        (START, "simple", 80.0, 84.0),
        (LIFT, "guard_band_u", 8.5, None),
        (RETURN, "guard_band_u", None, -0.25),
    ],
)
def test_acceptance_limits_lie_inside_by_the_guard_band(
    limit: Limit, rule: Rule, low: float | None, high: float | None
) -> None:
    """ILAC-G8:09/2019: A = T less r U on each side that has a limit; by hand with U 0.5."""
    found = acceptance_limits(limit, 0.5, rule)
    assert found == (
        low if low is None else pytest.approx(low),
        high if high is None else pytest.approx(high),
    )


@pytest.mark.parametrize(
    ("value", "outcome"),
    [
        (80.5, Outcome.PASS),
        (83.5, Outcome.PASS),
        (80.5 - 1e-6, Outcome.CONDITIONAL_PASS),
        (83.5 + 1e-6, Outcome.CONDITIONAL_PASS),
        (80.0, Outcome.CONDITIONAL_PASS),
        (84.0, Outcome.CONDITIONAL_PASS),
        (80.0 - 1e-6, Outcome.CONDITIONAL_FAIL),
        (84.0 + 1e-6, Outcome.CONDITIONAL_FAIL),
        (79.5, Outcome.CONDITIONAL_FAIL),
        (84.5, Outcome.CONDITIONAL_FAIL),
        (79.5 - 1e-6, Outcome.FAIL),
        (84.5 + 1e-6, Outcome.FAIL),
    ],
)
def test_a_boundary_belongs_to_the_better_outcome(value: float, outcome: Outcome) -> None:
    """82 ± 2 with U 0.5, w = U: by hand; in binary all of these boundaries are exact."""
    assert decide(START, start(value), "guard_band_u").outcome is outcome


@pytest.mark.parametrize(
    ("limit", "quantity", "u", "values"),
    [
        (LIFT, "full_lift_mm", 0.125, (8.25, 8.0, 7.75, 7.74)),
        (RETURN, "zero_return_mm", 0.03125, (0.1875, 0.25, 0.3125, 0.32)),
    ],
)
def test_a_single_limit_is_judged_on_its_side_alone(
    limit: Limit, quantity: str, u: float, values: tuple[float, ...]
) -> None:
    """By hand: U is 2 u; the open side accepts whatever is far from the limit."""
    outcomes = [
        decide(limit, stated(quantity, value, u, 2 * u), "guard_band_u").outcome for value in values
    ]
    assert outcomes == [
        Outcome.PASS, Outcome.CONDITIONAL_PASS, Outcome.CONDITIONAL_FAIL, Outcome.FAIL,
    ]  # fmt: skip
    far = 1000.0 if limit is LIFT else -1000.0
    assert decide(limit, stated(quantity, far, u, 2 * u), "guard_band_u").outcome is Outcome.PASS


@pytest.mark.parametrize(
    ("value", "outcome", "words"),
    [
        (83.6, Outcome.CONDITIONAL_PASS, "83.6 °C lies 0.4 K inside its limit; guard band 0.5 K"),
        (84.0, Outcome.CONDITIONAL_PASS, "84 °C lies 0 K inside its limit; guard band 0.5 K"),
        (84.2, Outcome.CONDITIONAL_FAIL, "84.2 °C lies 0.2 K outside its limit; guard band 0.5 K"),
    ],
)
def test_a_decision_states_all_that_it_rests_on(value: float, outcome: Outcome, words: str) -> None:
    """The chance from the normal distribution, u 0.25: the far limit is out of reach."""
    measured = start(value)
    chance = stats.norm.cdf((84.0 - value) / 0.25) - stats.norm.cdf((80.0 - value) / 0.25)
    assert decide(START, measured, "guard_band_u") == Decision(
        START, outcome, words, measured, 0.5, (80.5, 83.5), pytest.approx(chance, abs=1e-12)
    )


def test_a_difference_in_millimetres_is_said_in_millimetres() -> None:
    decision = decide(LIFT, stated("full_lift_mm", 8.125, 0.125, 0.25), "guard_band_u")
    assert decision.reason == "8.125 mm lies 0.125 mm inside its limit; guard band 0.25 mm"


NO_U = "the result states no uncertainty; give the bench's budget"


@pytest.mark.parametrize(
    ("measured", "outcome", "reason"),
    [
        (start(None), Outcome.UNSET, "the result is null"),
        (start(math.nan), Outcome.UNSET, "the result is null"),
        (changed(start(None), reason="stuck"), Outcome.UNSET, "stuck"),
        (
            changed(start(82.0), estimator="line"),
            Outcome.INVALID,
            "the result is by line, the limit by crossing",
        ),
        (start(82.0, None), Outcome.INVALID, NO_U),
        (start(82.0, math.inf), Outcome.INVALID, NO_U),
        (changed(start(82.0), standard_uncertainty=0.0), Outcome.INVALID, NO_U),
        (changed(start(82.0), expanded_uncertainty=-0.5), Outcome.INVALID, NO_U),
        (
            start(82.0, 0.505),
            Outcome.INVALID,
            "bench not good enough for this specification: U 1.01 K, at most 1 K (half the "
            "tolerance); measure better or widen the limits",
        ),
    ],
)
def test_what_is_not_judged_keeps_its_limit_its_result_and_the_reason(
    measured: Quantity, outcome: Outcome, reason: str
) -> None:
    assert decide(START, measured, "simple") == Decision(START, outcome, reason, measured)


def test_a_limit_without_a_result_says_which() -> None:
    decision = decide(START, None, "simple")
    assert decision == Decision(
        START, Outcome.UNSET, "no result of Start-to-open, rising, at 0.1 mm at zero rate"
    )


@pytest.mark.parametrize(("value", "u"), [(None, 0.25), (82.0, None), (82.0, 0.0)])
def test_no_value_or_no_uncertainty_has_no_probability(
    value: float | None, u: float | None
) -> None:
    with pytest.raises(ValueError, match="a null result has no probability"):
        probability_of_conformity(start(value, u), START)


def test_risks_of_a_lower_limit_are_those_of_the_mirrored_upper_one() -> None:
    """The ball bearings of JCGM 106:2012 9.5.4 with the sign turned: nothing else may change."""
    prior = stats.gamma(4.0, scale=0.25)
    upper = Limit(quantity="error_mm", upper=2.0, largest_u=1.0)
    lower = Limit(quantity="error_mm", lower=-2.0, largest_u=1.0)
    right = global_risks(prior.pdf, upper, 0.25, (None, 1.8), (0.0, 8.0))
    left = global_risks(lambda x: prior.pdf(-x), lower, 0.25, (-1.8, None), (-8.0, 0.0))
    assert left == pytest.approx(right, rel=1e-7)
    assert right[0] > 1e-3


def test_the_risk_of_both_sides_is_twice_that_of_one() -> None:
    """Units spread evenly about the middle of 82 ± 2: by symmetry."""
    prior = stats.norm(82.0, 1.0).pdf
    both, refused = global_risks(prior, START, 0.3, (80.5, 83.5), (74.0, 90.0))
    one = Limit(quantity="start_to_open_c", upper=84.0, largest_u=1.0, threshold_mm=0.1)
    right, refused_right = global_risks(prior, one, 0.3, (None, 83.5), (74.0, 90.0))
    assert both == pytest.approx(2 * right, rel=1e-6)
    # Of the one-sided refusals, those beyond the other limit are not its own.
    assert refused == pytest.approx(2 * refused_right, rel=0.02)


@pytest.mark.parametrize(
    ("probability", "words"),
    [
        (0.0099, "less than 1 in 100"),
        (0.0101, "about 1 in 100"),
        (0.0199, "about 1 in 100"),
        (0.9899, "about 98 in 100"),
        (0.9901, "better than 99 in 100"),
    ],
)
def test_words_change_at_whole_hundredths(probability: float, words: str) -> None:
    """By hand: hundredths are cut, never rounded up."""
    assert probability_in_words(probability).endswith(f" {words}")


def test_a_verdict_keeps_its_specification_and_says_no_chance_it_does_not_have() -> None:
    limits = Specification(unit_type="Teal-82", version=1, limit=(START, LIFT))
    half = judge(limits, [start(82.0)])
    assert half == Verdict(limits, half.decisions)
    assert statement(half) == "unset"
    whole = judge(limits, [start(82.0), stated("full_lift_mm", 9.0, 0.125, 0.25)])
    assert statement(whole) == (
        "pass: the chance that the true value lies inside the limits is better than 99 in 100"
    )
