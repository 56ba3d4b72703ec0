"""Quantities of chosen figures, as results on record state them."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

from proofbath.quantity.quantity import Quantity, Rate

_AT = {"threshold_mm": "lift_mm", "element_a": "element_a", "bath_c": "bath_c"}


def stated(
    name: str,
    value: float | None,
    u: float | None,
    expanded_u: float | None,
    *,
    dof: float = math.inf,
    rate: Rate | None = None,
    threshold_mm: float | None = None,
    reason: str | None = None,
) -> Quantity:
    """A quantity by its usual estimator, with k as its two uncertainties have it."""
    k = expanded_u / u if u and expanded_u is not None else None
    at = {} if threshold_mm is None else {"lift_mm": threshold_mm}
    return Quantity(value, u, expanded_u, k, dof, (), reason, rate, at).named(name)


def changed(quantity: Quantity, **other: Any) -> Quantity:
    """The same quantity with other figures; None takes one of what it is stated at away."""
    at = dict(quantity.at) | {_AT[name]: other.pop(name) for name in _AT if name in other}
    at = {name: number for name, number in at.items() if number is not None}
    return replace(quantity, at=at, **other)
