"""The API of access: health, session, own password, and its own description."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Response
from pydantic import Field
from starlette.requests import Request

from proofbath.description import Described
from proofbath.store.kinds import Right
from proofbath.web.access_sign_in import (
    change_own_password,
    drop_cookie,
    keep_cookie,
    sign_in,
    sign_out,
)
from proofbath.web.deps import CurrentStamp, SignedIn, Viewer
from proofbath.web.frame import frame_of
from proofbath.web.sessions import Signed, form_token_of

router = APIRouter(prefix="/api", tags=["access"])
Secret = Annotated[str, Field(max_length=1000)]


class SignIn(Described):
    """Who wants to sign in."""

    name: Annotated[str, Field(max_length=200)]
    password: Secret


class NewPassword(Described):
    """One's present password and the one to come."""

    old: Secret
    new: Secret


class Session(Described):
    """Who is signed in; `token` goes with every change as the header X-Proofbath-Token."""

    person: str
    rights: tuple[Right, ...]
    token: str
    change_password: bool
    """The password was chosen by another: nothing else is open until it is changed."""


@router.get("/health")
def health() -> dict[str, str]:
    """Tell that the pages are served; open to anybody."""
    return {"state": "serving"}


@router.post("/session")
def begin_session(request: Request, response: Response, who: SignIn) -> Session:
    """Sign in: the answer sets the session's cookie and gives the token of changes."""
    token = sign_in(request, who.name, who.password)
    keep_cookie(request, response, token)
    signed = frame_of(request).sessions.find(token)
    assert signed is not None
    return _session(signed)


@router.get("/session")
def show_session(signed: SignedIn) -> Session:
    """Tell who is signed in."""
    return _session(signed)


@router.delete("/session", status_code=204)
def end_session(request: Request, response: Response, signed: SignedIn) -> None:
    """Sign out."""
    sign_out(request, signed)
    request.state.stamped = True
    drop_cookie(request, response)


@router.put("/password")
def change_password(
    request: Request,
    response: Response,
    signed: SignedIn,
    stamp: CurrentStamp,
    wanted: NewPassword,
) -> Session:
    """Change one's own password: all one's sessions end, and a new one begins."""
    token = change_own_password(request, signed, wanted.old, wanted.new, stamp)
    keep_cookie(request, response, token)
    return _session(signed, form_token_of(token))


@router.get("/openapi.json", include_in_schema=False)
def description(request: Request, signed: Viewer) -> dict[str, Any]:
    """Return the API's description as OpenAPI."""
    described: dict[str, Any] = request.app.openapi()
    return described


def _session(signed: Signed, token: str | None = None) -> Session:
    return Session(
        person=signed.person.entry.name,
        rights=signed.rights,
        token=token or signed.form_token,
        change_password=signed.first and token is None,
    )
