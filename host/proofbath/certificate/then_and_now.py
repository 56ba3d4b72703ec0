"""The content of a comparison: a returned unit as it left then, and as it was found now."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from proofbath.certificate.agreement import Change
from proofbath.certificate.evidence import Branch
from proofbath.certificate.parties import Customer, Person, Unit, Workshop
from proofbath.certificate.text import Line, Number, Remark
from proofbath.description import Described


class Measurement(Described):
    """One of the two: when, where, in which run and batch, certified by which document."""

    stage: Literal["as-found", "as-left"]
    date: dt.date
    batch: Line
    run: Line
    bench: Line
    station: Annotated[int, Field(ge=1, le=6)]
    certificate: Number | None = None
    remark: Remark = ""
    curve: tuple[Branch, ...] = ()


class ThenAndNow(Described):
    """A unit that came back, measured before anything was touched, against its last as-left."""

    kind: Literal["then and now"] = "then and now"
    title: Line = "Then and now"
    number: Number
    workshop: Workshop
    customer: Customer
    unit: Unit
    then: Measurement
    now: Measurement
    changes: Annotated[tuple[Change, ...], Field(min_length=1)]
    remarks: tuple[Line, ...] = ()
    powered_curve: bool = False
    simulated: bool = False
    issued: dt.date
    authorised_by: Person

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if (self.then.stage, self.now.stage) != ("as-left", "as-found"):
            raise ValueError("then must be as-left, now as-found")
        if not self.then.date <= self.now.date <= self.issued:
            raise ValueError("then, now and the date of issue must follow in time")
        return self
