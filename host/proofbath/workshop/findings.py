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
    usual = usual_quantities(content)
    twice = {"start_to_open_c"} & {one.name for one in usual if _has_unpowered(usual)}
    others = [one for one in usual if one.form not in forms and one.name not in twice]
    return (*judged, *map(result_of, others))


def _has_unpowered(usual: tuple[Quantity, ...]) -> bool:
    """Tell whether a start without power stands over all rises: one met on the way is in it."""
    return any(one.name == "unpowered_start_to_open_c" for one in usual)


def usual_quantities(content: ResultContent) -> tuple[Quantity, ...]:
    """Return the quantities that a customer is told of every unit and that have a value.

    A heated unit that the bath alone does not open wide has no full lift without current.
    """
    known = {name: one for name, one in content.curve.quantities.items() if one.value is not None}
    without = {"full_lift_mm"} if "heater_ohm" in known and "full_open_c" not in known else set()
    return tuple(one for name, one in known.items() if name in USUAL and name not in without)


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
