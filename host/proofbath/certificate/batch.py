"""The content of a batch summary: every unit with its outcome, certified or not."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from proofbath.certificate.evidence import Branch
from proofbath.certificate.parties import Customer, Person, Workshop
from proofbath.certificate.results import Positive, Result
from proofbath.certificate.text import Line, Number, Remark
from proofbath.description import Described


class Night(Described):
    """One run of the batch: its reference unit on the chart as it stood then, and both charts."""

    run: Line
    date: dt.date
    bench: Line
    stage: Line
    serial: Line
    value_c: float | None
    centre_c: float | None
    limit_k: Positive | None
    chart: Line
    probes: Line


class BatchRow(Described):
    """One unit of a batch: value as found and as left, outcome, certificate or why none.

    The value is what the batch's first limit asks for, or the start-to-open where there is none.
    `order` is what was ordered of it alone.
    `curve` is one cycle as left, empty where there is none.
    """

    serial: Line
    as_found: Result | None = None
    rework: Remark = ""
    as_left: Result | None = None
    outcome: Line
    certificate: Number | None = None
    reason: Remark = ""
    withdrawn_by: Number | None = None
    curve: tuple[Branch, ...] = ()
    order: Remark = ""

    @model_validator(mode="after")
    def _certified_or_reason(self) -> Self:
        if (self.certificate is None) == (self.reason == ""):
            raise ValueError(f"{self.serial}: state its certificate, or the reason why it has none")
        if self.withdrawn_by and self.certificate is None:
            raise ValueError(f"{self.serial}: nothing was certified that could be withdrawn")
        return self


class BatchSummary(Described):
    """A whole batch on one sheet."""

    kind: Literal["batch summary"] = "batch summary"
    title: Line = "Batch summary"
    number: Number
    workshop: Workshop
    customer: Customer
    batch: Line
    unit_type: Line
    specification_version: Annotated[int, Field(ge=1)]
    limits: tuple[Line, ...]
    order: Remark = ""
    not_judged_by: tuple[Line, ...] = ()
    received: dt.date
    issued: dt.date
    row: Annotated[tuple[BatchRow, ...], Field(min_length=1)]
    nights: tuple[Night, ...] = ()
    remarks: tuple[Line, ...] = ()
    powered_curve: bool = False
    simulated: bool = False
    authorised_by: Person

    @model_validator(mode="after")
    def _each_unit_once(self) -> Self:
        serials = [row.serial for row in self.row]
        if len(set(serials)) < len(serials):
            raise ValueError("a unit is listed twice")
        return self
