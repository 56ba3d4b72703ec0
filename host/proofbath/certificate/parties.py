"""Who and what a document is about: workshop, customer, unit, persons."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from proofbath.certificate.text import Line, Remark
from proofbath.description import Described

Address = Annotated[tuple[Line, ...], Field(min_length=1, max_length=6)]


class Workshop(Described):
    """Who measured: name, address, and the contact that knows of withdrawals."""

    name: Line
    address: Address
    contact: Line


class Customer(Described):
    """Who asked for the work."""

    name: Line
    address: Address
    contact: Remark = ""


class Unit(Described):
    """The unit measured, so that it cannot be taken for another."""

    description: Line
    unit_type: Line
    serial: Line
    condition: Line
    customer_mark: Remark = ""


class Person(Described):
    """Somebody who did or decided something, with the role they did it in."""

    name: Line
    role: Line
