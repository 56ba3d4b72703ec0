"""The workshop's pages: how they write numbers and outcomes, and who may do what on them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from starlette.requests import Request
from starlette.responses import HTMLResponse

from proofbath.certificate.words import NOTHING, decimals_of, fixed
from proofbath.proof.decision import Outcome
from proofbath.quantity.quantity import Quantity
from proofbath.web.templating import environment, page
from proofbath.workshop.batch_view import FAILED_BY_PERSON, Standing

SIGNS: dict[str, str] = {
    Outcome.PASS: "good",
    Outcome.CONDITIONAL_PASS: "warn",
    Outcome.CONDITIONAL_FAIL: "bad",
    Outcome.FAIL: "bad",
    FAILED_BY_PERSON: "bad",
    Outcome.INVALID: "warn",
    Outcome.UNSET: "warn",
    "in control": "good",
    "out of control": "bad",
    "valid": "good",
    "withdrawn": "bad",
    "replaced": "warn",
    "in force": "good",
    "due soon": "warn",
    "overdue": "bad",
    "touched since": "bad",
    "genuine": "good",
    "yes": "good",
    "no": "bad",
    "not known": "warn",
}
"""Which sign a state is shown with, by its code on record; others get the plain one."""
STANDING_SIGNS = {
    Standing.CERTIFIED: "good",
    Standing.FAILED: "bad",
    Standing.REFUSED: "bad",
}


class GivenText(dict[str, str]):
    """The text fields of a form as they were given; a field that was not is empty."""

    def __missing__(self, name: str) -> str:
        return ""


def shop_page(
    request: Request, template: str, /, status: int = 200, **context: Any
) -> HTMLResponse:
    """Return a page of the workshop; its template knows who may work and who may certify."""
    rights = {*request.state.signed.rights}
    may = {
        "may_work": bool({"operator", "certifier"} & rights),
        "may_certify": "certifier" in rights,
        "given": GivenText(),
    }
    return page(request, template, status, **{**may, **context})


def measured(value: Quantity | Mapping[str, Any] | None) -> str:
    """Return a value with U and its unit, by two digits of U; a dash where there is none.

    A mapping is a result as a document states it.
    """
    if value is None:
        return NOTHING
    if isinstance(value, Quantity):
        return with_u(value.value, value.expanded_uncertainty, value.unit)
    return with_u(value.get("value"), value.get("expanded_uncertainty"), value.get("unit", ""))


def with_u(value: float | None, u: float | None, unit: str = "", sign: bool = False) -> str:
    """Return a number with its expanded uncertainty and unit; with its sign where asked."""
    if value is None:
        return NOTHING
    decimals = decimals_of(u) if u else 2
    text = fixed(value, decimals)
    text = f"+{text}" if sign and value > 0 else text
    return " ".join(filter(None, [text, f"± {fixed(u, decimals)}" if u else "", unit]))


def number(value: float | None, decimals: int = 2, sign: bool = False) -> str:
    """Return a number with so many decimals; a dash where there is none."""
    if value is None:
        return NOTHING
    text = fixed(value, decimals)
    return f"+{text}" if sign and value > 0 else text


def chance(probability: float) -> str:
    """Return a lower bound of the chance to conform in short."""
    hundredths = math.floor(100 * probability)
    if hundredths >= 99:
        return "conforms: better than 99 in 100"
    return f"conforms: at least {hundredths} in 100"


def sign_of_standing(standing: Standing) -> str:
    """Return the sign that a count of units is shown with."""
    return STANDING_SIGNS.get(standing, "wait")


def sign_of(state: str | None) -> str:
    """Return the sign that a state is shown with."""
    return SIGNS.get(state or "", "plain")


environment.filters["measured"] = measured
environment.filters["digits"] = number
environment.filters["chance"] = chance
environment.globals["with_u"] = with_u
environment.globals["sign_of"] = sign_of
environment.globals["sign_of_standing"] = sign_of_standing
