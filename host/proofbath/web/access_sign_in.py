"""Signing in and out: tries are slowed down, each session is new, both are on record."""

from __future__ import annotations

import math

from fastapi import HTTPException
from starlette.requests import HTTPConnection, Request
from starlette.responses import Response

from proofbath.store.kinds import Action, Person
from proofbath.store.records import Stamp
from proofbath.web.access_people import password_fits
from proofbath.web.frame import Frame, frame_of
from proofbath.web.sessions import Signed, digest_of

WRONG = "name or password is wrong"


def sign_in(request: Request, name: str, password: str) -> str:
    """Begin a session and return its token; 401 for a wrong name or password, 429 for too many.

    A session the browser still had ends: nobody can be given one that is known beforehand.
    """
    frame, address = frame_of(request), address_of(request)
    wait_s = math.ceil(frame.delays.begin(name, address))
    if wait_s > 0:
        raise HTTPException(
            429, f"too many wrong passwords; wait {wait_s} s", {"Retry-After": str(wait_s)}
        )
    found = frame.shop.records.current(Person, name=name) if "\0" not in name else []
    person = found[0] if found else None
    if not password_fits(frame, person, password) or person is None:
        if person is not None and frame.delays.just_slowed(name):
            _note(frame, "wrong passwords", f"{name}, from {address}", None)
        raise HTTPException(401, WRONG)
    frame.delays.succeeded(name, address)
    _end_old(request, frame)
    _note(frame, "signed in", f"from {address}", person.root)
    return frame.sessions.begin(person.root, address)


def sign_out(request: Request, signed: Signed) -> None:
    """End the session of a request."""
    frame = frame_of(request)
    _note(frame, "signed out", "", signed.person.root)
    frame.access.end(signed.digest)


def keep_cookie(request: Request, response: Response, token: str) -> None:
    """Let the browser keep a session's token until it is closed."""
    frame = frame_of(request)
    response.set_cookie(
        frame.cookie,
        token,
        path="/",
        secure=frame.shop.file.serve.secure,
        httponly=True,
        samesite="strict",
    )


def drop_cookie(request: Request, response: Response) -> None:
    """Let the browser forget the session."""
    frame = frame_of(request)
    response.delete_cookie(
        frame.cookie,
        path="/",
        secure=frame.shop.file.serve.secure,
        httponly=True,
        samesite="strict",
    )


def address_of(connection: HTTPConnection) -> str:
    """Return where a request comes from, as the server (or its proxy) says."""
    return connection.client.host if connection.client else "unknown"


def safe_next(path: str) -> str:
    """Return where to go after signing in: a page of ours, else the start page."""
    ours = path.startswith("/") and not path.startswith(("//", "/sign-")) and "\\" not in path
    return path if ours and path.isprintable() else "/"


def _end_old(request: Request, frame: Frame) -> None:
    old = request.cookies.get(frame.cookie)
    if old:
        frame.access.end(digest_of(old))


def _note(frame: Frame, what: str, detail: str, person: int | None) -> None:
    frame.shop.records.add(Action(what=what, detail=detail), Stamp(frame.utc(), person))
