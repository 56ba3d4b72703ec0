"""Results as a certificate states them, with the judgement of those that have limits."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import replace
from typing import Annotated, Any, Self

from pydantic import Field, TypeAdapter, model_serializer, model_validator

from proofbath.certificate.text import Line, Remark
from proofbath.description import Described
from proofbath.proof.decision import Decision, Outcome, probability_in_words
from proofbath.proof.specification import QUANTITY
from proofbath.quantity.quantity import (
    Contribution,
    Evaluation,
    Quantity,
    finite_or_none,
)
from proofbath.quantity.words import unit_of

Positive = Annotated[float, Field(gt=0)]


class BudgetLine(Described):
    """One contribution to an uncertainty, in the result's unit; null where not supplied."""

    name: Line
    evaluation: Evaluation
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
    """A quantity as a certificate states it, by its words of that day; null only with a reason.

    In a document all its parts stand side by side; degrees of freedom null with a value mean
    infinitely many.
    """

    stated: Quantity
    words: Line
    judgement: Judgement | None = None

    @property
    def reason(self) -> str:
        """Why there is no value, as it can be printed."""
        return _REMARK.validate_python(self.stated.reason or "")

    @property
    def budget(self) -> tuple[BudgetLine, ...]:
        """What its uncertainty is made of, in the value's unit."""
        return tuple(_budget_line(item) for item in self.stated.contributions)

    @model_validator(mode="before")
    @classmethod
    def _from_document(cls, given: object) -> object:
        if not isinstance(given, Mapping) or "stated" in given:
            return given
        apart = {name: given[name] for name in ("words", "judgement") if name in given}
        stated = {name: part for name, part in given.items() if name not in apart}
        return {**apart, "stated": _stated_in(stated)}

    @model_serializer
    def _as_document(self) -> dict[str, Any]:
        stated, judged = self.stated, self.judgement
        return {
            "quantity": stated.name,
            "words": self.words,
            "unit": stated.unit,
            **{name: _float(getattr(stated, name)) for name in _NUMBERS},
            "degrees_of_freedom": finite_or_none(float(stated.degrees_of_freedom)),
            "rate": stated.rate if stated.rate == "zero" else _float(stated.rate),
            **{name: _float(stated.at.get(key)) for name, key in _STATED_AT.items()},
            "estimator": stated.estimator,
            "reason": self.reason,
            "budget": [line.model_dump() for line in self.budget],
            "judgement": judged and judged.model_dump(mode="json"),
        }

    @model_validator(mode="after")
    def _complete(self) -> Self:
        stated, about = self.stated, (self.reason, self.budget)
        if not re.fullmatch(QUANTITY, stated.name):
            raise ValueError(f"{stated.name!r}: names no quantity; a name ends on its unit")
        _check_finite(stated)
        uncertainty = [getattr(stated, name) for name in _NUMBERS[1:]]
        if stated.value is None:
            if not about[0] or self.judgement or any(item is not None for item in uncertainty):
                raise ValueError("a null result has a reason, no uncertainty and no judgement")
        elif None in uncertainty:
            raise ValueError(f"{stated.name}: a value needs u, U and k beside it")
        return self


_REMARK = TypeAdapter[str](Remark)
_NUMBERS = ("value", "standard_uncertainty", "expanded_uncertainty", "coverage_factor")
_STATED_AT = {
    "threshold_mm": "lift_mm",
    "element_a": "element_a",
    "bath_c": "bath_c",
    "after_s": "after_s",
}
"""What a document says of what a value is stated at, and the name of each in a quantity."""


def result_of(quantity: Quantity, decision: Decision | None = None) -> Result:
    """Return a quantity as a certificate states it, judged by a decision."""
    stated = replace(
        quantity,
        contributions=tuple(item.as_share() for item in quantity.contributions),
        at={key: quantity.at[key] for key in _STATED_AT.values() if key in quantity.at},
    )
    judgement = judgement_of(decision) if decision else None
    return Result(stated=stated, words=quantity.words, judgement=judgement)


def _stated_in(document: dict[str, Any]) -> dict[str, Any]:
    """Return the parts of a quantity that stand side by side in a document."""
    name, unit = document.pop("quantity", ""), document.pop("unit", None)
    if not re.fullmatch(QUANTITY, name) or unit != unit_of(name):
        raise ValueError(f"{name} is not in {unit}; a name ends on its unit")
    at = {key: document.pop(part, None) for part, key in _STATED_AT.items()}
    lines = [BudgetLine.model_validate(line) for line in document.pop("budget", ())]
    return {
        **document,
        "name": name,
        "at": {key: number for key, number in at.items() if number is not None},
        "reason": document.get("reason") or None,
        "contributions": [_contribution(line) for line in lines],
    }


def _check_finite(stated: Quantity) -> None:
    numbers = {name: getattr(stated, name) for name in (*_NUMBERS, *_STATED_AT)}
    for what, number in numbers.items():
        above_zero = what not in ("value", "element_a", "bath_c")
        if number is not None and (not math.isfinite(number) or (above_zero and number <= 0)):
            raise ValueError(f"{stated.name}: its {what} is {number:g}; that cannot be stated")
    if stated.degrees_of_freedom <= 0 or (stated.element_a or 0.0) < 0:
        raise ValueError(f"{stated.name}: degrees of freedom and current cannot be below 0")


def _budget_line(item: Contribution) -> BudgetLine:
    return BudgetLine(
        name=item.name,
        evaluation=item.said_evaluation,
        contribution=item.as_share().standard_uncertainty,
        degrees_of_freedom=finite_or_none(item.degrees_of_freedom),
        note=item.note,
    )


def _contribution(line: BudgetLine) -> Contribution:
    freedom = math.inf if line.degrees_of_freedom is None else line.degrees_of_freedom
    return Contribution(line.name, line.contribution, 1.0, freedom, line.evaluation, line.note)


def _float(number: float | None) -> float | None:
    return None if number is None else float(number)


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
