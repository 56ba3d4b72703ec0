"""The content of a withdrawal: a document of its own that ends an earlier one, with the reason."""

from __future__ import annotations

import datetime as dt
from typing import Literal, Self

from pydantic import model_validator

from proofbath.certificate.parties import Customer, Person, Workshop
from proofbath.certificate.text import Digest, Line, Number
from proofbath.description import Described


class Withdrawal(Described):
    """A document that withdraws another by number and digest; `replaced_by` names its successor."""

    kind: Literal["withdrawal"] = "withdrawal"
    title: Line = "Withdrawal of a certificate"
    number: Number
    workshop: Workshop
    customer: Customer
    unit_serial: Line
    withdraws: Number
    withdraws_sha256: Digest
    withdraws_issued: dt.date
    reason: Line
    what_to_do: Line
    replaced_by: Number | None = None
    issued: dt.date
    authorised_by: Person

    @model_validator(mode="after")
    def _three_documents(self) -> Self:
        if self.withdraws in (self.number, self.replaced_by) or self.number == self.replaced_by:
            raise ValueError(
                "withdrawal, withdrawn and replacing document need numbers of their own"
            )
        if self.issued < self.withdraws_issued:
            raise ValueError(
                f"issued {self.issued}, before the withdrawn of {self.withdraws_issued}"
            )
        return self
