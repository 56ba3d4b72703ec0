"""A result as the proof sees it: a value with its uncertainty and the form it holds in."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, NamedTuple, Self

_BY_OTHER_NAME = {"start_by_line_c": ("start_to_open_c", "line")}
_USUAL_ESTIMATOR = {"unpowered_start_to_open_c": "extrapolation"}
_CROSSINGS = ("start_to_open_c", "full_open_c", "closing_c", "hysteresis_k")


class Measured(NamedTuple):
    """One quantity of one unit: value, uncertainties, and threshold, rate, estimator, power.

    `rate` is "zero", a ramp in K/min, or None where a rate has no meaning; `element_a` and
    `bath_c` are None where the value does not hold at a stated current or bath; `after_s` counts
    from when the current came on.
    """

    quantity: str
    value: float | None
    standard_uncertainty: float | None
    expanded_uncertainty: float | None
    degrees_of_freedom: float = math.inf
    rate: str | float | None = None
    threshold_mm: float | None = None
    estimator: str = "reading"
    element_a: float | None = None
    bath_c: float | None = None
    after_s: float | None = None
    reason: str | None = None

    @classmethod
    def from_result(cls, name: str, shown: Mapping[str, Any]) -> Self:
        """Return what the fixed JSON shape of a result says under its `name`."""
        quantity, estimator = _BY_OTHER_NAME.get(name, (name, usual_estimator(name)))
        at, freedom = shown.get("at", {}), shown["degrees_of_freedom"]
        return cls(
            quantity,
            shown["value"],
            shown["standard_uncertainty"],
            shown["expanded_uncertainty"],
            math.inf if freedom is None else freedom,
            shown["rate"],
            at.get("lift_mm"),
            estimator,
            at.get("element_a"),
            at.get("bath_c"),
            at.get("after_s"),
            shown["reason"],
        )


def usual_estimator(quantity: str) -> str:
    """Return the estimator of a quantity unless another is stated."""
    return _USUAL_ESTIMATOR.get(quantity, "crossing" if quantity in _CROSSINGS else "reading")
