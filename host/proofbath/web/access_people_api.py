"""The API of people and of what they did: administrators only."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Query

from proofbath.description import Described
from proofbath.store.kinds import Line, Right
from proofbath.web.access_api import Secret
from proofbath.web.access_people import (
    PersonState,
    add_person,
    change_person,
    end_sessions,
    people_of,
    set_first_password,
)
from proofbath.web.audit import Traced, traced
from proofbath.web.deps import CurrentFrame, CurrentShop, CurrentStamp, Number, need

router = APIRouter(prefix="/api", tags=["people"], dependencies=[Depends(need("administrator"))])
MOST = 200
RecordNumber = Annotated[int | None, Query(ge=1, le=2**31 - 1)]


class NewPerson(Described):
    """Somebody new, with the password for the first sign-in."""

    name: Line
    rights: tuple[Right, ...] = ()
    password: Secret


class Rights(Described):
    """What somebody may do; not `active`: does not work here any more."""

    rights: tuple[Right, ...]
    active: bool = True


class FirstPassword(Described):
    """A password to be changed at the next sign-in."""

    password: Secret


class Numbered(Described):
    """The number of what was put on record."""

    number: int


@router.get("/people")
def people(frame: CurrentFrame) -> list[PersonState]:
    """Return all people on record."""
    return people_of(frame)


@router.post("/people", status_code=201)
def add(frame: CurrentFrame, stamp: CurrentStamp, person: NewPerson) -> Numbered:
    """Put a person on record with a first password."""
    number = add_person(frame, person.name, person.rights, person.password, stamp)
    return Numbered(number=number)


@router.put("/people/{number}/rights", status_code=204)
def put_rights(number: Number, frame: CurrentFrame, stamp: CurrentStamp, to: Rights) -> None:
    """Give a person other rights, or take the person out."""
    change_person(frame, number, to.rights, to.active, stamp)


@router.put("/people/{number}/password", status_code=204)
def put_password(
    number: Number, frame: CurrentFrame, stamp: CurrentStamp, to: FirstPassword
) -> None:
    """Give a person a first password."""
    set_first_password(frame, number, to.password, stamp)


@router.delete("/people/{number}/sessions", status_code=204)
def delete_sessions(number: Number, frame: CurrentFrame, stamp: CurrentStamp) -> None:
    """End all sessions of a person."""
    end_sessions(frame, number, stamp)


@router.get("/record")
def record(
    shop: CurrentShop,
    before: RecordNumber = None,
    most: Annotated[int, Query(ge=1, le=MOST)] = MOST,
) -> list[Traced]:
    """Return what was put on record and by whom, the newest first."""
    return traced(shop.records, most, before)
