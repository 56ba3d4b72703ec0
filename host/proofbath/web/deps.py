"""What handlers ask for: the workshop, who is signed in, a right, the stamp of an act.

Every route names the right it needs by `need`; what changes something is checked for the form's
token whether its route asks for it or not, and leaves a record.
"""

from __future__ import annotations

import hmac
from collections.abc import Iterator
from typing import Annotated

from fastapi import Depends, HTTPException, Path
from starlette.datastructures import FormData
from starlette.requests import HTTPConnection, Request

from proofbath.store.kinds import Action, Right
from proofbath.store.records import Stamp
from proofbath.web.frame import Frame, frame_of
from proofbath.web.sessions import Signed
from proofbath.workshop.shop import Shop

TOKEN_HEADER, TOKEN_FIELD = "x-proofbath-token", "token"
SIGN_IN_PATHS = frozenset({"/sign-in", "/api/session"})
"""Where a session begins: no token yet; the origin is checked there as everywhere."""
_READING = frozenset({"GET", "HEAD", "OPTIONS"})


def current_shop(connection: HTTPConnection) -> Shop:
    """Return the open workshop."""
    return frame_of(connection).shop


def session_of(connection: HTTPConnection) -> Signed | None:
    """Return who is signed in, None where nobody is; looked up once a request."""
    state = connection.state
    if not hasattr(state, "signed"):
        frame = frame_of(connection)
        token = connection.cookies.get(frame.cookie)
        state.signed = frame.sessions.find(token) if token else None
    signed: Signed | None = state.signed
    return signed


SessionOf = Annotated[Signed | None, Depends(session_of)]


class Need:
    """Lets in who holds one of some rights; a viewer is anybody with a right.

    Without rights it lets in anybody signed in, even if the password was chosen by another.
    """

    def __init__(self, *rights: Right) -> None:
        self.rights = rights

    def allows(self, held: tuple[Right, ...]) -> bool:
        """Whether the rights somebody holds are enough."""
        if not self.rights or "viewer" in self.rights:
            return bool(held) or not self.rights
        return bool({*self.rights} & {*held})

    def __call__(self, signed: SessionOf) -> Signed:
        """Return who is signed in; 401 for nobody, 403 without the right."""
        if signed is None:
            raise HTTPException(401, "not signed in; sign in first")
        if signed.first and self.rights:
            raise HTTPException(403, "your password was chosen by another; change it in Settings")
        if not self.allows(signed.rights):
            raise HTTPException(
                403,
                f"needs the right {' or '.join(self.rights)}; {signed.person.entry.name} is"
                f" {', '.join(signed.rights) or 'without rights'}; ask an administrator",
            )
        return signed


def need(*rights: Right) -> Need:
    """Return the dependency that lets in who holds one of `rights`, and gives who it is."""
    return Need(*rights)


signed_in = Need()
SignedIn = Annotated[Signed, Depends(signed_in)]
Viewer = Annotated[Signed, Depends(need("viewer"))]
Operator = Annotated[Signed, Depends(need("operator"))]
Certifier = Annotated[Signed, Depends(need("certifier"))]
Administrator = Annotated[Signed, Depends(need("administrator"))]
Number = Annotated[int, Path(ge=1, le=2**31 - 1, description="A number on record")]
"""A number in a path; larger ones are none that a database could hold."""
CurrentShop = Annotated[Shop, Depends(current_shop)]
CurrentFrame = Annotated[Frame, Depends(frame_of)]


def stamp_of(connection: HTTPConnection) -> Stamp:
    """Return now and who is signed in, for what the request puts on record."""
    signed = session_of(connection)
    if signed is None:
        raise HTTPException(401, "not signed in; sign in first")
    connection.state.stamped = True
    return Stamp(frame_of(connection).utc(), signed.person.root)


CurrentStamp = Annotated[Stamp, Depends(stamp_of)]


async def csrf_checked(connection: HTTPConnection, signed: SessionOf) -> None:
    """Refuse what would change something without the token of the session's forms."""
    if _only_reads(connection) or signed is None or connection.url.path in SIGN_IN_PATHS:
        return
    given = connection.headers.get(TOKEN_HEADER)
    kind = connection.headers.get("content-type", "")
    if given is None and "form" in kind and isinstance(connection, Request):
        form: FormData = await connection.form()
        field = form.get(TOKEN_FIELD)
        given = field if isinstance(field, str) else None
    if not hmac.compare_digest((given or "").encode(), signed.form_token.encode()):
        raise HTTPException(403, "the form is not of this session; load the page again")


def audited(connection: HTTPConnection, signed: SessionOf) -> Iterator[None]:
    """Put an action on record after a change whose handler took no stamp."""
    yield
    if _only_reads(connection) or signed is None or getattr(connection.state, "stamped", False):
        return
    what = f"{connection.scope['method']} {connection.url.path}"[:200]
    stamp = Stamp(frame_of(connection).utc(), signed.person.root)
    frame_of(connection).shop.records.add(Action(what=what), stamp)


def _only_reads(connection: HTTPConnection) -> bool:
    return connection.scope["type"] != "http" or connection.scope["method"] in _READING
