"""Signing in and out, and one's own password: tries are slowed down, all of it is on record."""

from __future__ import annotations

import math

from fastapi import HTTPException
from starlette.requests import HTTPConnection, Request
from starlette.responses import Response

from proofbath.errors import InputError
from proofbath.store.kinds import Action, Person
from proofbath.store.records import Kept, Stamp
from proofbath.web.access_people import password_fits, set_password
from proofbath.web.frame import Frame, frame_of
from proofbath.web.password import check_password
from proofbath.web.sessions import Signed, digest_of


def sign_in(request: Request, name: str, password: str) -> str:
    """Begin a session and return its token; 401 for a wrong name or password, 429 for too many.

    A session the browser still had ends: nobody can be given one that is known beforehand.
    """
    frame = frame_of(request)
    person = proven(request, name, password)
    if person is None:
        raise HTTPException(401, "name or password is wrong")
    _end_old(request, frame)
    _note(frame, "signed in", f"from {address_of(request)}", person.root)
    return frame.sessions.begin(person.root, address_of(request))


def proven(request: Request, name: str, password: str) -> Kept[Person] | None:
    """Return the person whose name and password these are, None where they are not.

    429 after too many wrong ones; unknown names take as long as wrong passwords.
    """
    frame, address = frame_of(request), address_of(request)
    wait_s = math.ceil(frame.delays.begin(name, address))
    if wait_s > 0:
        raise HTTPException(
            429, f"too many wrong passwords; wait {wait_s} s", {"Retry-After": str(wait_s)}
        )
    found = frame.shop.records.current(Person, name=name) if "\0" not in name else []
    person = found[0] if found else None
    if password_fits(frame, person, password):
        frame.delays.succeeded(name, address)
        return person
    if person is not None and frame.delays.just_slowed(name):
        _note(frame, "wrong passwords", f"{name}, from {address}", None)
    return None


def change_own_password(request: Request, signed: Signed, old: str, new: str, stamp: Stamp) -> str:
    """Change one's own password, end all one's sessions, and return a new session's token."""
    frame, person = frame_of(request), signed.person
    check_password(new)
    if old == new:
        raise InputError("the new password is the present one; choose another")
    if proven(request, person.entry.name, old) is None:
        raise InputError("the present password is another one; nothing was changed")
    set_password(
        frame.shop.records,
        frame.access,
        frame.passwords,
        number=person.root,
        password=new,
        stamp=stamp,
        first=False,
    )
    return frame.sessions.begin(person.root, address_of(request))


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
