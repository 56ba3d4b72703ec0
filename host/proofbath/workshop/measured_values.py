"""Values of results on record, read by the limit that judges them; and what two runs share."""

from __future__ import annotations

from proofbath.curve.content import ResultContent
from proofbath.proof.specification import Limit, Specification
from proofbath.quantity.quantity import Quantity
from proofbath.workshop.story import Step

STARTS = ("start_to_open_c", "unpowered_start_to_open_c")
LIFT = "full_lift_mm"
SHARED_BY_RUNS = ("bath probe", "gauge scale", "lag")
"""What two runs of one unit on one bench have alike: their difference does not hold it."""
SHARED_BY_UNITS = ("bath probe",)
"""What all units measured on one bench have alike."""


def limit_of(specification: Specification, quantities: tuple[str, ...]) -> Limit | None:
    """Return the first limit of one of these quantities."""
    return next((limit for limit in specification.limit if limit.quantity in quantities), None)


def value_of(limit: Limit, content: ResultContent) -> Quantity | None:
    """Return the value of a result in the form of a limit; None where it states none."""
    for quantity in content.each():
        if quantity.value is not None and limit.unlike(quantity) is None:
            return quantity
    return None


def step_value(limit: Limit, step: Step) -> Quantity | None:
    """Return the value of a measurement in the form of a limit; None for a rework."""
    content = step.content
    return value_of(limit, content) if content else None


def why_no_value(limit: Limit, content: ResultContent) -> str:
    """Return why a result states no value in the form of a limit."""
    stated = content.curve.quantities.get(limit.quantity)
    if stated is None:
        return f"the result states no {limit.quantity}"
    if stated.value is None and stated.reason:
        return stated.reason
    return limit.unlike(stated) or f"no {limit.form()}"
