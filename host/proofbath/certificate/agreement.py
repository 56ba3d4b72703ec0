"""Whether two measurements of one quantity agree: their difference against both uncertainties."""

from __future__ import annotations

import math
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from proofbath.certificate.result_view import in_its_form
from proofbath.certificate.results import Result
from proofbath.certificate.text import Line
from proofbath.certificate.words import decimals_of, fixed
from proofbath.description import Described

AGREES_TO = 1.0
"""Largest E_n of measurements that agree (ISO/IEC 17043:2010 B.4.1.1, from memory)."""


class Change(Described):
    """A quantity then and now, in the same form: difference now minus then, and E_n.

    `expanded_uncertainty` is that of the difference.
    """

    then: Result
    now: Result
    difference: float
    expanded_uncertainty: Annotated[float, Field(gt=0)]
    e_n: Annotated[float, Field(ge=0)]
    verdict: Literal["agrees", "has shifted"]
    words: Line

    @model_validator(mode="after")
    def _follows(self) -> Self:
        forms = {(r.stated.name, in_its_form(r)) for r in (self.then, self.now)}
        if len(forms) > 1:
            raise ValueError(f"not of one form: {sorted(form for _, form in forms)}")
        if (self.e_n <= AGREES_TO) != (self.verdict == "agrees"):
            raise ValueError(f"E_n {self.e_n:.2f} does not say: {self.verdict}")
        return self


def normalised_error(difference: float, u_then: float, u_now: float) -> float:
    """Return |difference| / sqrt(U1² + U2²) of expanded uncertainties (ISO/IEC 17043 B.3.1.3)."""
    return abs(difference) / math.hypot(u_then, u_now)


def change_of(then: Result, now: Result) -> Change | None:
    """Return how a quantity changed; None where a value is missing or the forms differ."""
    one, other = then.stated, now.stated
    u_then, u_now = one.expanded_uncertainty, other.expanded_uncertainty
    alike = (one.name, in_its_form(then)) == (other.name, in_its_form(now))
    if not alike or one.value is None or other.value is None or not u_then or not u_now:
        return None
    difference, big_u = other.value - one.value, math.hypot(u_then, u_now)
    e_n = normalised_error(difference, u_then, u_now)
    decimals = decimals_of(big_u)
    by, within = (f"{fixed(x, decimals)} {other.unit}" for x in (difference, big_u))
    agrees = e_n <= AGREES_TO
    told = (
        f"agrees within the uncertainties: the difference of {by} lies within ± {within}"
        if agrees
        else f"has shifted by {by}, more than the uncertainties of ± {within} explain"
    )
    return Change(
        then=then,
        now=now,
        difference=difference,
        expanded_uncertainty=big_u,
        e_n=e_n,
        verdict="agrees" if agrees else "has shifted",
        words=told,
    )
