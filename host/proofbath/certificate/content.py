"""The content of a certificate: all that ISO/IEC 17025:2017 7.8 asks of one and that applies.

The pages are made from this content alone, so what is signed and what is printed is the same.
"""

from __future__ import annotations

import datetime as dt
from itertools import pairwise
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from proofbath.certificate.conformity import Conformity
from proofbath.certificate.evidence import (
    AtCurrents,
    Branch,
    Calibration,
    Conditions,
    Method,
    ReferenceUnit,
    Stage,
)
from proofbath.certificate.parties import Customer, Person, Unit, Workshop
from proofbath.certificate.results import Result
from proofbath.certificate.text import Digest, Line, Number
from proofbath.description import Described
from proofbath.proof.cautions import RETARGETING
from proofbath.proof.decision import Outcome

STATEMENTS = (
    "The results relate only to the unit named here, in the condition in which it was measured.",
    "This certificate may be reproduced only in full; parts of it need the workshop's consent.",
    "The method is a workshop method. Neither an accreditation nor conformity to a product"
    " standard is claimed.",
    "All values are no-flow values at delivery. Flow and pressure difference shift the opening in"
    " an engine; nothing is said about service life.",
    RETARGETING,
    "The expanded uncertainty U is the standard uncertainty times k, for a coverage of about 95 %.",
)


class Dates(Described):
    """When the unit came in, was measured for these results, and when the document was issued."""

    received: dt.date
    measured_from: dt.date
    measured_to: dt.date
    issued: dt.date

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        days = (self.received, self.measured_from, self.measured_to, self.issued)
        if any(later < earlier for earlier, later in pairwise(days)):
            raise ValueError("received, measured_from, measured_to, issued must follow in time")
        return self


class Replaces(Described):
    """The earlier certificate that this one takes the place of, why, and what is different."""

    number: Number
    sha256: Digest
    reason: Line
    changes: Line


class Certificate(Described):
    """One unit's certificate; `results` are as left, `history` holds all stages in order."""

    kind: Literal["certificate"] = "certificate"
    title: Line = "Test certificate"
    number: Number
    workshop: Workshop
    customer: Customer
    unit: Unit
    dates: Dates
    method: Method
    conditions: Conditions
    results: Annotated[tuple[Result, ...], Field(min_length=1)]
    conformity: Conformity
    history: Annotated[tuple[Stage, ...], Field(min_length=1)]
    calibrations: Annotated[tuple[Calibration, ...], Field(min_length=1)]
    reference_unit: ReferenceUnit
    curve: tuple[Branch, ...] = ()
    at_currents: AtCurrents | None = None
    remarks: tuple[Line, ...] = ()
    supplied_by_customer: tuple[Line, ...] = ()
    from_others: tuple[Line, ...] = ()
    measured_by: Person
    authorised_by: Person
    replaces: Replaces | None = None
    powered_curve: bool = False
    """Whether the curve's temperatures are the bath's plus the heater's warmth."""
    simulated: bool = False
    """Whether a computed bench stood in for a real one: then it says so wherever it is shown."""
    statements: tuple[Line, ...] = STATEMENTS

    @model_validator(mode="after")
    def _holds_together(self) -> Self:
        faults = [*self._result_faults(), *self._history_faults(), *self._calibration_faults()]
        if self.replaces and self.replaces.number == self.number:
            faults.append(f"{self.number} cannot replace itself; take a new number")
        if faults:
            raise ValueError("; ".join(faults))
        return self

    def _result_faults(self) -> list[str]:
        judged = [(r, r.judgement) for r in self.results if r.judgement is not None]
        forms = sorted(judgement.form for _, judgement in judged)
        stated, faults = self.conformity.outcome, list[str]()
        if forms != sorted(self.conformity.limits):
            faults.append(f"judged {forms}, the specification limits {self.conformity.limits}")
        if self.conformity.specification != self.unit.unit_type:
            faults.append(
                f"a {self.unit.unit_type} is judged by the {self.conformity.specification}'s limits"
            )
        if stated not in {judgement.outcome for _, judgement in judged}:
            faults.append(f"no result came to {stated.value}")
        for result, judgement in judged:
            if judgement.outcome not in (Outcome.PASS, stated):
                faults.append(f"{result.stated.name} came to {judgement.outcome.value}")
            name, rate = result.stated.name, result.stated.rate
            every = (other.stated for other in self.results)
            at_zero = any(one.name == name and one.rate == "zero" for one in every)
            if isinstance(rate, float) and not at_zero:
                faults.append(f"{name} is judged at a rate; state it at zero rate too")
        return faults

    def _history_faults(self) -> list[str]:
        stages = [stage.stage for stage in self.history]
        faults = [] if stages[0] == "as-found" else ["the history must start as-found"]
        if "rework" in stages and stages[-1] != "as-left":
            faults.append("a reworked unit needs an as-left measurement last")
        days = [stage.date for stage in self.history]
        if days != sorted(days):
            faults.append("the history must be in order of its dates")
        return faults

    def _calibration_faults(self) -> list[str]:
        """A calibration may follow the measurement where its result was computed anew."""
        late = [
            f"calibration of {c.item} was due {c.due}; measured until {self.dates.measured_to}"
            for c in self.calibrations
            if c.due < self.dates.measured_to
        ]
        return late + [
            f"calibration of {c.item} is of {c.calibrated}, after the issue of {self.dates.issued}"
            for c in self.calibrations
            if c.calibrated > self.dates.issued
        ]
