"""Results as a certificate states them, with the judgement of those that have limits."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from proofbath.certificate.text import Line, Remark
from proofbath.description import Described
from proofbath.proof.decision import Decision, Outcome, probability_in_words
from proofbath.proof.measured import Measured
from proofbath.proof.specification import QUANTITY
from proofbath.proof.words import unit_of, words_of

Positive = Annotated[float, Field(gt=0)]


class BudgetLine(Described):
    """One contribution to an uncertainty, in the result's unit; null where not supplied."""

    name: Line
    evaluation: Literal["A", "B", "not supplied"]
    contribution: Annotated[float, Field(ge=0)] | None
    degrees_of_freedom: Positive | None
    note: Remark = ""


class Judgement(Described):
    """One result against one limit: limits, guard band, acceptance limits, outcome."""

    form: Line
    lower: float | None
    upper: float | None
    guard_band: Annotated[float, Field(ge=0)]
    acceptance_lower: float | None
    acceptance_upper: float | None
    outcome: Outcome
    reason: Line
    probability_of_conformity: Line

    @model_validator(mode="after")
    def _was_judged(self) -> Self:
        if self.outcome in (Outcome.INVALID, Outcome.UNSET):
            raise ValueError(f"{self.outcome.value}: only a judged result may be certified")
        return self


class Result(Described):
    """A quantity with the form it holds in; null only with a reason.

    `unit` is that of value and uncertainties; degrees of freedom null with a value means
    infinitely many; `rate` is "zero", a ramp in K/min, or null where a rate has no meaning.
    """

    quantity: Annotated[str, Field(pattern=QUANTITY)]
    words: Line
    unit: Line
    value: float | None
    standard_uncertainty: Positive | None
    expanded_uncertainty: Positive | None
    coverage_factor: Positive | None
    degrees_of_freedom: Positive | None
    rate: Literal["zero"] | float | None
    threshold_mm: Positive | None
    estimator: Line
    element_a: Annotated[float, Field(ge=0)] | None = None
    bath_c: float | None = None
    after_s: Positive | None = None
    reason: Remark = ""
    budget: tuple[BudgetLine, ...] = ()
    judgement: Judgement | None = None

    @model_validator(mode="after")
    def _complete(self) -> Self:
        if self.unit != unit_of(self.quantity):
            raise ValueError(f"{self.quantity} is in {unit_of(self.quantity)}, not {self.unit}")
        stated = (self.standard_uncertainty, self.expanded_uncertainty, self.coverage_factor)
        if self.value is None:
            if not self.reason or self.judgement or any(item is not None for item in stated):
                raise ValueError("a null result has a reason, no uncertainty and no judgement")
        elif None in stated:
            raise ValueError(f"{self.quantity}: a value needs u, U and k beside it")
        return self


def result_of(name: str, shown: Mapping[str, Any], decision: Decision | None = None) -> Result:
    """Return the certificate's result from the fixed JSON shape of one, judged by a decision."""
    measured = Measured.from_result(name, shown)
    freedom = shown["degrees_of_freedom"]
    return Result(
        quantity=measured.quantity,
        words=words_of(measured.quantity),
        unit=unit_of(measured.quantity),
        value=measured.value,
        standard_uncertainty=measured.standard_uncertainty,
        expanded_uncertainty=measured.expanded_uncertainty,
        coverage_factor=shown["coverage_factor"],
        degrees_of_freedom=freedom,
        rate=measured.rate if measured.rate in (None, "zero") else float(measured.rate),
        threshold_mm=measured.threshold_mm,
        estimator=measured.estimator,
        element_a=measured.element_a,
        bath_c=measured.bath_c,
        after_s=measured.after_s,
        reason=measured.reason or "",
        budget=tuple(_budget_line(line) for line in shown["budget"]),
        judgement=judgement_of(decision) if decision else None,
    )


def _budget_line(line: Mapping[str, Any]) -> BudgetLine:
    return BudgetLine.model_validate({name: line[name] for name in BudgetLine.model_fields})


def judgement_of(decision: Decision) -> Judgement:
    """Return a decision as a certificate states it; raises ValueError where nothing was judged."""
    if decision.guard_band is None or decision.probability is None:
        raise ValueError(f"{decision.limit.form()}: {decision.outcome.value}: {decision.reason}")
    lower, upper = decision.limit.bounds
    return Judgement(
        form=decision.limit.form(),
        lower=lower,
        upper=upper,
        guard_band=decision.guard_band,
        acceptance_lower=decision.acceptance[0],
        acceptance_upper=decision.acceptance[1],
        outcome=decision.outcome,
        reason=decision.reason,
        probability_of_conformity=probability_in_words(decision.probability),
    )
