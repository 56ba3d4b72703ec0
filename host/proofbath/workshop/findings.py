"""What results on record say, as documents print it: as a limit asks for it, and beside it."""

from __future__ import annotations

from proofbath.certificate.results import Result, result_of
from proofbath.curve.content import ResultContent
from proofbath.proof.decision import Decision
from proofbath.proof.verdict import Verdict
from proofbath.quantity.quantity import Quantity
from proofbath.workshop.measured_values import value_of

USUAL = (
    "start_to_open_c",
    "unpowered_start_to_open_c",
    "shift_k_per_w",
    "full_open_c",
    "full_lift_mm",
    "closing_c",
    "hysteresis_k",
    "zero_return_mm",
    "heater_ohm",
)
"""What a customer is told of every unit, limited or not."""


def results_as_left(content: ResultContent, verdict: Verdict) -> tuple[Result, ...]:
    """Return what a certificate states: what was judged, in order, then the rest of the usual.

    A quantity judged at a rate is stated at zero rate too where that was found.  Raises
    ValueError where a judged value is not in the analysis.
    """
    judged = [_judged(content, decision) for decision in verdict.decisions]
    forms = {result.stated.form for result in judged}
    others = (result_of(one) for one in usual_quantities(content) if one.form not in forms)
    return (*judged, *others)


def usual_quantities(content: ResultContent) -> tuple[Quantity, ...]:
    """Return the quantities that a customer is told of every unit and that have a value."""
    return tuple(
        quantity
        for name, quantity in content.curve.quantities.items()
        if name in USUAL and quantity.value is not None
    )


def quantities_like(content: ResultContent, verdict: Verdict) -> tuple[Quantity, ...]:
    """Return the values of an earlier analysis in the forms of a verdict's limits."""
    limits = [decision.limit for decision in verdict.decisions]
    return tuple(one for limit in limits if (one := value_of(limit, content)) is not None)


def results_like(content: ResultContent, verdict: Verdict) -> tuple[Result, ...]:
    """Return the same as a document states it, unjudged."""
    return tuple(result_of(one) for one in quantities_like(content, verdict))


def warnings_in(content: ResultContent) -> tuple[str, ...]:
    """Return the sentences of warning that an analysis gave."""
    return tuple(warned.text for warned in content.curve.warnings)


def _judged(content: ResultContent, decision: Decision) -> Result:
    for quantity in content.each():
        if quantity == decision.measured:
            return result_of(quantity, decision)
    raise ValueError(f"{decision.limit.form()}: {decision.outcome.value}: {decision.reason}")
