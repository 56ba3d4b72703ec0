"""One result as strings: value ± U by the digits that U allows, its form, limits and outcome."""

from __future__ import annotations

from typing import Any

from proofbath.certificate.results import Judgement, Result
from proofbath.certificate.words import NOTHING, decimals_of, fixed, plain, span, whole_freedom
from proofbath.proof.measured import usual_estimator

Strings = dict[str, Any]


def result_view(result: Result) -> Strings:
    """Return one result: value ± U, k, degrees of freedom, form, limits and outcome."""
    if result.value is None or result.expanded_uncertainty is None:
        shown = {"value": f"none: {result.reason}", "u": "", "k": "", "freedom": ""}
    else:
        decimals = decimals_of(result.expanded_uncertainty)
        shown = {
            "value": fixed(result.value, decimals),
            "u": fixed(result.expanded_uncertainty, decimals),
            "k": fixed(result.coverage_factor or 0.0, 2),
            "freedom": whole_freedom(result.degrees_of_freedom),
        }
    limits = _limits(result.judgement, decimals_of(result.expanded_uncertainty or 0.01))
    return {**shown, **limits, "words": result.words, "unit": result.unit, "form": _form(result)}


def in_its_form(result: Result) -> str:
    """Return the quantity's words with the form its value holds in."""
    form = _form(result)
    return f"{result.words} ({form})" if form else result.words


def _form(result: Result) -> str:
    parts = []
    if result.threshold_mm is not None:
        parts.append(f"at {plain(result.threshold_mm)} mm lift")
    if result.rate is not None:
        at_zero = result.rate == "zero"
        parts.append("zero rate" if at_zero else f"{plain(float(result.rate))} K/min")
    if result.estimator != usual_estimator(result.quantity):
        parts.append(f"by {result.estimator}")
    if result.element_a is not None:
        parts.append(f"heater {plain(result.element_a)} A")
    if result.after_s is not None:
        parts.append(f"within {plain(result.after_s)} s")
    if result.bath_c is not None:
        parts.append(f"bath {fixed(result.bath_c, 1)} °C")
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
