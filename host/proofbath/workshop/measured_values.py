"""Values of results on record, read by the limit that judges them; and what two runs share."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, NamedTuple

from proofbath.proof.measured import Measured
from proofbath.proof.specification import Limit, Specification
from proofbath.workshop.findings import shown_in
from proofbath.workshop.story import Step

STARTS = ("start_to_open_c", "unpowered_start_to_open_c")
LIFT = "full_lift_mm"
SHARED_BY_RUNS = ("bath probe", "gauge scale", "lag")
"""What two runs of one unit on one bench have alike: their difference does not hold it."""
SHARED_BY_UNITS = ("bath probe",)
"""What all units measured on one bench have alike."""


class Value(NamedTuple):
    """A measured quantity with the budget that the result states."""

    measured: Measured
    budget: tuple[Mapping[str, Any], ...]

    def u_without(self, names: tuple[str, ...]) -> float:
        """Return the standard uncertainty less what is shared under these names."""
        left = [item["contribution"] or 0.0 for item in self.budget if item["name"] not in names]
        return math.hypot(*left) if self.budget else self.measured.standard_uncertainty or 0.0

    def u_of(self, names: tuple[str, ...]) -> float:
        """Return the standard uncertainty of what is shared under these names."""
        return math.hypot(
            *(item["contribution"] or 0.0 for item in self.budget if item["name"] in names)
        )


def limit_of(specification: Specification, quantities: tuple[str, ...]) -> Limit | None:
    """Return the first limit of one of these quantities."""
    return next((limit for limit in specification.limit if limit.quantity in quantities), None)


def value_of(limit: Limit, content: Mapping[str, Any]) -> Value | None:
    """Return the value of a result in the form of a limit; None where it states none."""
    for name, shown in shown_in(content):
        measured = Measured.from_result(name, shown)
        if measured.value is not None and limit.unlike(measured) is None:
            return Value(measured, tuple(shown["budget"]))
    return None


def step_value(limit: Limit, step: Step) -> Value | None:
    """Return the value of a measurement in the form of a limit; None for a rework."""
    return value_of(limit, step.result.entry.content) if step.result else None


def why_no_value(limit: Limit, content: Mapping[str, Any]) -> str:
    """Return why a result states no value in the form of a limit."""
    shown = content.get(limit.quantity)
    if not isinstance(shown, Mapping):
        return f"the result states no {limit.quantity}"
    measured = Measured.from_result(limit.quantity, shown)
    if measured.value is None and measured.reason:
        return measured.reason
    return limit.unlike(measured) or f"no {limit.form()}"
