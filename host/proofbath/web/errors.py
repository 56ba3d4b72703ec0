"""What went wrong, told in lines: JSON `{"faults": [...]}` for the API, a page for people.

Nothing of the program's inside is told; that goes to the log.
"""

from __future__ import annotations

import logging
from collections.abc import Awaitable, Callable, Mapping, Sequence
from typing import Any
from urllib.parse import quote

from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from pydantic import ValidationError
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.websockets import WebSocket

from proofbath.errors import ProofbathError
from proofbath.web.deps import session_of
from proofbath.web.security import HEADERS
from proofbath.web.templating import page

_log = logging.getLogger(__name__)
_Handler = Callable[[Request, Exception], Response]
_LONGEST_REASON = 100
_TITLES = {
    401: "Sign in first",
    403: "Not allowed",
    404: "Not here",
    405: "Not that way",
    413: "Too large",
    422: "Refused",
    429: "Too many tries",
}


def told(
    request: Request, status: int, faults: Sequence[str], headers: Mapping[str, str] | None = None
) -> Response:
    """Return an answer that tells faults, one line each."""
    if request.url.path.startswith("/api/"):
        return JSONResponse({"faults": [*faults]}, status, headers)
    signed = session_of(request)
    if request.method in ("GET", "HEAD"):
        if status == 401:
            after = request.url.path + (f"?{request.url.query}" if request.url.query else "")
            return RedirectResponse(f"/sign-in?next={quote(after)}", 303)
        if status == 403 and signed and signed.first:
            return RedirectResponse("/settings", 303)
    context = {
        "title": _TITLES.get(status, "This went wrong"),
        "faults": tuple(faults),
        "refused_form": request.method == "POST" and status < 500,
    }
    answer = page(request, "error.html", status, **context)
    answer.headers.update(headers or {})
    return answer


def tell_errors(app: FastAPI) -> None:
    """Let an application tell its errors so."""
    for kind, handler in (
        (ProofbathError, _refused),
        (HTTPException, _http),
        (RequestValidationError, _not_valid),
        (ValidationError, _not_valid),
    ):
        app.add_exception_handler(kind, _on_either(handler))
    app.add_exception_handler(Exception, _broken)


def _on_either(handler: _Handler) -> Callable[[Any, Exception], Awaitable[Any]]:
    """Let a handler answer requests; a websocket is closed (before it is accepted: refused)."""

    async def handle(connection: Request | WebSocket, error: Exception) -> Response | None:
        if isinstance(connection, WebSocket):
            await connection.close(1008, str(getattr(error, "detail", ""))[:_LONGEST_REASON])
            return None
        return await run_in_threadpool(handler, connection, error)

    return handle


def _refused(request: Request, error: Exception) -> Response:
    assert isinstance(error, ProofbathError)
    return told(request, 422, error.faults)


def _http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    return told(request, error.status_code, [str(error.detail)], error.headers)


def _not_valid(request: Request, error: Exception) -> Response:
    """Of a request's own parts, the first place says where they were: in path, query or body."""
    assert isinstance(error, RequestValidationError | ValidationError)
    skip = int(isinstance(error, RequestValidationError))
    return told(request, 422, [_line(dict(fault), skip) for fault in error.errors()])


def _line(fault: dict[str, Any], skip: int) -> str:
    place = ".".join(str(part) for part in fault["loc"][skip:] or fault["loc"]) or "all of it"
    message = str(fault["msg"]).removeprefix("Value error, ")
    return f"{place}: {message[:1].lower()}{message[1:]}"


def _broken(request: Request, error: Exception) -> Response:
    _log.error("%s %s failed", request.method, request.url.path, exc_info=error)
    answer = told(request, 500, ["the program failed here; what happened is in its log"])
    answer.headers.update(HEADERS)  # this one answer does not pass the gate
    return answer
