"""The statement of conformity: specification, decision rule in words, outcome, probability."""

from __future__ import annotations

from typing import Annotated, NamedTuple, Self

from pydantic import Field, model_validator

from proofbath.certificate.text import Digest, Line, Remark
from proofbath.certificate.words import plain, span
from proofbath.description import Described
from proofbath.proof.decision import GUARD_BAND_PER_U, Outcome, risk_at_acceptance_limit
from proofbath.proof.specification import Limit, Rule, Specification
from proofbath.proof.verdict import Agreement, Verdict, refuse_certificate, statement
from proofbath.quantity.words import unit_of

RULE_NAMES: dict[Rule, str] = {
    "guard_band_u": "Guarded acceptance, ILAC-G8:09/2019, guard band w = U",
    "iso_14253_1": "Guarded acceptance, ISO 14253-1:2017, guard band w = 0.83 U",
    "simple": "Simple acceptance, ILAC-G8:09/2019, no guard band",
}


class Conformity(Described):
    """Which specification was applied by which rule, and what came of it.

    `limits` are the forms of all limits that it was judged by: those of the specification, or
    those with what was ordered in the place of the marking's, which `not_judged_by` holds. Only a
    pass, or a conditional pass that the customer agreed to, can be stated.
    """

    specification: Line
    version: Annotated[int, Field(ge=1)]
    specification_sha256: Digest
    limits: Annotated[tuple[Line, ...], Field(min_length=1)]
    rule: Rule
    decision_rule: Line
    outcome: Outcome
    statement: Line
    agreement: Remark = ""
    order: Remark = ""
    not_judged_by: tuple[Line, ...] = ()

    @model_validator(mode="after")
    def _may_be_certified(self) -> Self:
        if self.outcome is Outcome.CONDITIONAL_PASS and not self.agreement:
            raise ValueError("a conditional pass needs the customer's recorded agreement")
        if self.not_judged_by and not self.order:
            raise ValueError("limits of the marking are left out for an order only; state it")
        if self.outcome not in (Outcome.PASS, Outcome.CONDITIONAL_PASS):
            raise ValueError(f"{self.outcome.value}: no certificate; see the rework advice")
        return self


class Order(NamedTuple):
    """What was ordered in words, the marking's limits left out for it, the marked specification."""

    words: str
    set_aside: tuple[Limit, ...]
    marked: Specification


def conformity_of(
    verdict: Verdict,
    rule: Rule,
    agreement: Agreement | None = None,
    order: Order | None = None,
) -> Conformity:
    """Return what a certificate says of a verdict reached by `rule`; ValueError where refused."""
    refused = refuse_certificate(verdict, agreement)
    if refused:
        raise ValueError(refused)
    agreed = f"{agreement.customer}: {agreement.record}" if agreement else ""
    marked = order.marked if order else verdict.specification
    return Conformity(
        specification=verdict.specification.unit_type,
        version=verdict.specification.version,
        specification_sha256=marked.fingerprint(),
        limits=tuple(limit.form() for limit in verdict.specification.limit),
        rule=rule,
        decision_rule=rule_in_words(rule),
        outcome=verdict.outcome,
        statement=statement(verdict),
        agreement=agreed if verdict.outcome is Outcome.CONDITIONAL_PASS else "",
        order=order.words if order else "",
        not_judged_by=tuple(map(limit_in_words, order.set_aside)) if order else (),
    )


def rule_in_words(rule: Rule) -> str:
    """Return a decision rule as a customer can apply it, with its guard band and its risk."""
    per_u = GUARD_BAND_PER_U[rule]
    if per_u == 0:
        return (
            f"{RULE_NAMES[rule]}: a result passes when it lies within its limits. The chance that"
            " a passed unit lies outside them can reach 50 in 100 at the limit itself; the"
            " probability of conformity is stated."
        )
    band = "its expanded uncertainty U" if per_u == 1 else f"{per_u:g} times its U"
    risk = 100 * risk_at_acceptance_limit(per_u)
    bound = 2.5 if risk < 2.5 else 5
    return (
        f"{RULE_NAMES[rule]}: a result passes when it lies inside its limits by {band} or more, so"
        f" that the chance of a passed value being outside a limit is below {bound:g} in 100."
        " Nearer to the limit it passes conditionally; outside it fails, conditionally at first."
    )


def limit_in_words(limit: Limit) -> str:
    """Return a limit as a customer reads it: quantity, form, and what it may be."""
    low, high = (None if bound is None else plain(bound) for bound in limit.bounds)
    return f"{limit.called()}: {span(low, high)} {unit_of(limit.quantity)}"
