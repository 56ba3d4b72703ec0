"""The verdict of a whole unit, what is certified, and when a unit may be measured again."""

from __future__ import annotations

import pytest

from host.proof.stated import changed, stated
from proofbath.proof.decision import Outcome
from proofbath.proof.specification import Limit, Specification
from proofbath.proof.verdict import (
    Agreement,
    Attempt,
    RetestCause,
    judge,
    refuse_certificate,
    refuse_retest,
    statement,
)
from proofbath.quantity.quantity import Quantity, Rate

TEAL_82 = Specification(
    unit_type="Teal-82",
    version=1,
    limit=(
        Limit(quantity="start_to_open_c", nominal=82.0, tolerance=2.0, threshold_mm=0.1),
        Limit(quantity="full_lift_mm", nominal=8.6, lower=8.0),
    ),
)
LIFT = stated("full_lift_mm", 8.9, 0.05, 0.1)


def start(value: float | None, rate: Rate = "zero") -> Quantity:
    return stated("start_to_open_c", value, 0.25, 0.5, rate=rate, threshold_mm=0.1)


def test_a_unit_passes_only_with_every_limit_passed() -> None:
    assert judge(TEAL_82, [start(82.4), LIFT]).outcome is Outcome.PASS
    assert judge(TEAL_82, [start(83.8), LIFT]).outcome is Outcome.CONDITIONAL_PASS
    assert judge(TEAL_82, [start(82.4)]).outcome is Outcome.UNSET
    assert judge(TEAL_82, [start(82.4, 1.0), LIFT]).outcome is Outcome.INVALID
    assert judge(TEAL_82, []).outcome is Outcome.UNSET


def test_a_failed_quantity_fails_the_unit_whatever_is_missing() -> None:
    assert judge(TEAL_82, [start(86.0)]).outcome is Outcome.FAIL
    assert judge(TEAL_82, [start(84.2)]).outcome is Outcome.CONDITIONAL_FAIL
    assert judge(TEAL_82, [start(82.0), changed(LIFT, value=7.5)]).outcome is Outcome.FAIL


def test_the_result_of_the_stated_form_is_taken_among_others() -> None:
    line = changed(start(85.0), estimator="line")
    verdict = judge(TEAL_82, [start(85.0, 1.0), line, start(82.4), LIFT])
    assert verdict.outcome is Outcome.PASS
    assert verdict.decisions[0].measured == start(82.4)


def test_another_rule_may_be_agreed() -> None:
    assert judge(TEAL_82, [start(83.8), LIFT], rule="simple").outcome is Outcome.PASS


def test_the_chance_of_a_unit_is_bounded_by_all_its_quantities() -> None:
    """Bonferroni: 1 minus the sum of the single risks."""
    verdict = judge(TEAL_82, [start(83.8), changed(LIFT, value=8.06)])
    first, second = (d.probability for d in verdict.decisions)
    assert first is not None
    assert second is not None
    assert verdict.probability_at_least == pytest.approx(first + second - 1)
    assert judge(TEAL_82, [start(83.8)]).probability_at_least is None


def test_only_a_pass_is_certified_by_default() -> None:
    assert refuse_certificate(judge(TEAL_82, [start(82.4), LIFT])) is None
    for results in ([start(84.2), LIFT], [start(86.0), LIFT]):
        assert "rework advice" in str(refuse_certificate(judge(TEAL_82, results)))
    for results in ([start(82.4)], [start(82.4, 1.0), LIFT]):
        assert refuse_certificate(judge(TEAL_82, results)) is not None


def test_a_conditional_pass_needs_the_customers_recorded_agreement() -> None:
    verdict = judge(TEAL_82, [start(83.8), LIFT])
    agreed = Agreement("ferry line", "letter of 3 May, kept with the batch")
    assert refuse_certificate(verdict, agreed) is None
    assert refuse_certificate(verdict) is not None
    assert refuse_certificate(verdict, Agreement("ferry line", " ")) is not None
    assert refuse_certificate(judge(TEAL_82, [start(84.2), LIFT]), agreed) is not None
    assert statement(verdict).startswith("conditional pass: the chance that the true value lies")


def test_one_retest_for_a_recorded_cause_and_no_testing_until_pass() -> None:
    first = Attempt("night 12")
    caused = Attempt("night 13", RetestCause.BUBBLES, "steps of 0.2 mm at 78 °C, both cycles")
    assert refuse_retest([], first) is None
    assert refuse_retest([first], caused) is None
    assert refuse_retest([first], Attempt("night 13")) is not None
    assert refuse_retest([first], caused._replace(cause_record=" ")) is not None
    assert "no testing until pass" in str(refuse_retest([first, caused], caused))
