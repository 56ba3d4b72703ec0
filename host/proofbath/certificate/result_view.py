"""One result as strings: value ± U by the digits that U allows, its form, limits and outcome."""

from __future__ import annotations

from typing import Any

from proofbath.certificate.results import Judgement, Result
from proofbath.certificate.words import NOTHING, decimals_of, fixed, plain, span, whole_freedom
from proofbath.quantity.quantity import Quantity, finite_or_none, usual_estimator

Strings = dict[str, Any]


def result_view(result: Result) -> Strings:
    """Return one result: value ± U, k, degrees of freedom, form, limits and outcome."""
    stated = result.stated
    if stated.value is None or stated.expanded_uncertainty is None:
        shown = {"value": f"none: {result.reason}", "u": "", "k": "", "freedom": ""}
    else:
        decimals = decimals_of(stated.expanded_uncertainty)
        shown = {
            "value": fixed(stated.value, decimals),
            "u": fixed(stated.expanded_uncertainty, decimals),
            "k": fixed(stated.coverage_factor or 0.0, 2),
            "freedom": whole_freedom(finite_or_none(stated.degrees_of_freedom)),
        }
    limits = _limits(result.judgement, decimals_of(stated.expanded_uncertainty or 0.01))
    return {**shown, **limits, "words": result.words, "unit": stated.unit, "form": _form(stated)}


def in_its_form(result: Result) -> str:
    """Return the quantity's words with the form its value holds in."""
    form = _form(result.stated)
    return f"{result.words} ({form})" if form else result.words


def _form(stated: Quantity) -> str:
    parts = []
    if stated.threshold_mm is not None:
        parts.append(f"at {plain(stated.threshold_mm)} mm lift")
    if stated.rate is not None:
        at_zero = stated.rate == "zero"
        parts.append("zero rate" if at_zero else f"{plain(float(stated.rate))} K/min")
    if stated.estimator != usual_estimator(stated.name):
        parts.append(f"by {stated.estimator}")
    if stated.element_a is not None:
        parts.append(f"heater {fixed(stated.element_a, 2)} A")
    if stated.after_s is not None:
        parts.append(f"within {plain(stated.after_s)} s")
    if stated.bath_c is not None:
        parts.append(f"bath {fixed(stated.bath_c, 1)} °C")
    return ", ".join(parts)


def _limits(judgement: Judgement | None, decimals: int) -> Strings:
    if judgement is None:
        return {"limits": NOTHING, "acceptance": NOTHING, "outcome": NOTHING}
    low, high = judgement.acceptance_lower, judgement.acceptance_upper
    return {
        "limits": span(_plain(judgement.lower), _plain(judgement.upper)),
        "acceptance": span(
            None if low is None else fixed(low, decimals),
            None if high is None else fixed(high, decimals),
        ),
        "outcome": judgement.outcome.value,
    }


def _plain(value: float | None) -> str | None:
    return None if value is None else plain(value)
