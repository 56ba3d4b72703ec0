"""Pages of access: sign-in, sign-out, Settings, people, and what was done by whom."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Form, Query
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from proofbath.errors import InputError
from proofbath.store.kinds import Right
from proofbath.web.access_people import (
    add_person,
    change_person,
    end_sessions,
    people_of,
    set_first_password,
)
from proofbath.web.access_sign_in import (
    change_own_password,
    drop_cookie,
    keep_cookie,
    safe_next,
    sign_in,
    sign_out,
)
from proofbath.web.audit import traced
from proofbath.web.deps import (
    Administrator,
    CurrentFrame,
    CurrentShop,
    CurrentStamp,
    Number,
    SessionOf,
    SignedIn,
    need,
)
from proofbath.web.templating import page

router = APIRouter(include_in_schema=False)
Text = Annotated[str, Form(max_length=1000)]
Rights = Annotated[list[Right], Form(default_factory=list)]
PEOPLE, ROWS = "/settings/people", 100


@router.get("/sign-in")
def sign_in_page(
    request: Request, signed: SessionOf, next: Annotated[str, Query(max_length=500)] = "/"
) -> Response:
    """Show the form to sign in."""
    return page(request, "sign_in.html", next=safe_next(next), name="")


@router.post("/sign-in")
def sign_in_form(
    request: Request, signed: SessionOf, name: Text, password: Text, next: Text = "/"
) -> Response:
    """Sign in, then go to the page that was asked for."""
    try:
        token = sign_in(request, name, password)
    except HTTPException as error:
        faults = (str(error.detail),)
        told = page(
            request,
            "sign_in.html",
            error.status_code,
            next=safe_next(next),
            name=name,
            faults=faults,
        )
        told.headers.update(error.headers or {})
        return told
    answer = RedirectResponse(safe_next(next), 303)
    keep_cookie(request, answer, token)
    return answer


@router.post("/sign-out")
def sign_out_form(request: Request, signed: SignedIn) -> Response:
    """End this session."""
    sign_out(request, signed)
    request.state.stamped = True
    answer = RedirectResponse("/sign-in", 303)
    drop_cookie(request, answer)
    return answer


@router.get("/settings")
def settings_page(
    request: Request, signed: SignedIn, shop: CurrentShop, done: str = ""
) -> Response:
    """Show what one may set: one's own password, and for administrators the people."""
    told = {"password": "Password changed; you are signed out everywhere else."}
    return page(request, "settings.html", file=shop.file, done=told.get(done, ""))


@router.post("/settings/password")
def password_form(
    request: Request,
    signed: SignedIn,
    shop: CurrentShop,
    stamp: CurrentStamp,
    old: Text,
    new: Text,
) -> Response:
    """Change one's own password."""
    try:
        token = change_own_password(request, signed, old, new, stamp)
    except InputError as error:
        return page(request, "settings.html", 422, file=shop.file, faults=error.faults)
    answer = RedirectResponse("/settings?done=password", 303)
    keep_cookie(request, answer, token)
    return answer


@router.get(PEOPLE)
def people_page(request: Request, signed: Administrator, frame: CurrentFrame) -> Response:
    """Show all people, their rights, and whether they can sign in."""
    return page(request, "people.html", people=people_of(frame))


@router.get("/settings/record")
def record_page(
    request: Request,
    signed: Administrator,
    shop: CurrentShop,
    before: Annotated[int | None, Query(ge=1, le=2**31 - 1)] = None,
) -> Response:
    """Show what was put on record and by whom."""
    rows = traced(shop.records, ROWS, before)
    older = rows[-1].number if len(rows) == ROWS else None
    return page(request, "people_record.html", rows=rows, older=older)


@router.post(PEOPLE, dependencies=[Depends(need("administrator"))])
def add_form(
    frame: CurrentFrame, stamp: CurrentStamp, name: Text, password: Text, rights: Rights
) -> Response:
    """Put a person on record with a first password."""
    add_person(frame, name, tuple(rights), password, stamp)
    return RedirectResponse(PEOPLE, 303)


@router.post(PEOPLE + "/{number}/rights", dependencies=[Depends(need("administrator"))])
def rights_form(
    number: Number,
    frame: CurrentFrame,
    stamp: CurrentStamp,
    rights: Rights,
    active: Annotated[bool, Form()] = False,
) -> Response:
    """Give a person other rights, or take the person out."""
    change_person(frame, number, tuple(rights), active, stamp)
    return RedirectResponse(PEOPLE, 303)


@router.post(PEOPLE + "/{number}/password", dependencies=[Depends(need("administrator"))])
def first_password_form(
    number: Number, frame: CurrentFrame, stamp: CurrentStamp, password: Text
) -> Response:
    """Give a person a first password, to be changed at the next sign-in."""
    set_first_password(frame, number, password, stamp)
    return RedirectResponse(PEOPLE, 303)


@router.post(PEOPLE + "/{number}/sessions", dependencies=[Depends(need("administrator"))])
def sessions_form(number: Number, frame: CurrentFrame, stamp: CurrentStamp) -> Response:
    """End all sessions of a person."""
    end_sessions(frame, number, stamp)
    return RedirectResponse(PEOPLE, 303)
