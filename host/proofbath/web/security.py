"""The gate before all routes: host and origin, size of the body, headers of every answer."""

from __future__ import annotations

import asyncio
import json
from collections.abc import MutableMapping
from pathlib import Path
from typing import Any

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from proofbath.workshop.serve_settings import ServeSettings

HEADERS = {
    "Content-Security-Policy": (
        "default-src 'self'; script-src 'self'; style-src 'self'; img-src 'self' data:;"
        " connect-src 'self'; object-src 'none'; base-uri 'none'; form-action 'self';"
        " frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=(), payment=(), usb=()",
}
BODY_WITHIN_S = 60.0
"""How long a body may take to come: a client that dawdles holds nobody up."""
_MOST_DIGITS = 18
_READING = frozenset({"GET", "HEAD", "OPTIONS"})


class Gate:
    """Refuses before anything is read what no page of ours would send."""

    def __init__(
        self, app: ASGIApp, settings: ServeSettings, body_within_s: float = BODY_WITHIN_S
    ) -> None:
        self._app, self._settings, self._body_within_s = app, settings, body_within_s
        self._names = settings.names()
        self._headers = dict(HEADERS)
        if settings.secure:
            self._headers["Strict-Transport-Security"] = "max-age=31536000"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or answer it here."""
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        fault = self._fault(scope, Headers(scope=scope))
        if fault is not None:
            await _refuse(scope, send, *fault, self._headers)
        elif scope["type"] == "websocket":
            await self._app(scope, receive, send)
        else:
            measured = _Measured(self._settings.max_body_bytes, self._body_within_s, self._headers)
            await measured.run(self._app, scope, receive, send)

    def _fault(self, scope: Scope, headers: Headers) -> tuple[int, str] | None:
        host = headers.get("host", "")
        if _name(host) not in self._names:
            return 400, f"host {host[:100]!r}: not one of ours; add it to [serve] trusted_hosts"
        changes = scope["type"] == "websocket" or scope["method"] not in _READING
        if changes and not self._same_origin(headers, host):
            return 403, "the request comes from another site"
        length = headers.get("content-length", "0")
        if not length.isdecimal() or len(length) > _MOST_DIGITS:
            return 400, "content-length is no number of a body's bytes"
        if int(length) > self._settings.max_body_bytes:
            return 413, _too_large(self._settings.max_body_bytes)
        return None

    def _same_origin(self, headers: Headers, host: str) -> bool:
        """Browsers always name the origin; programs that name none hold no one else's cookie."""
        if headers.get("sec-fetch-site", "none") not in ("same-origin", "none"):
            return False
        origin = headers.get("origin")
        if origin is None:
            return True
        schemes = ("https",) if self._settings.secure else ("http", "https")
        return origin.lower() in [f"{scheme}://{host.lower()}" for scheme in schemes]


class _Measured:
    """One request: its body is counted and timed while it comes, its answer gets the headers."""

    def __init__(self, most_bytes: int, within_s: float, headers: dict[str, str]) -> None:
        self._most, self._within_s, self._headers = most_bytes, within_s, headers
        self._came, self._whole, self._started = 0, False, False
        self._until: float | None = None
        self._fault: tuple[int, str] | None = None

    async def run(self, app: ASGIApp, scope: Scope, receive: Receive, send: Send) -> None:
        """Let an application answer, unless the body is refused before its answer begins."""

        async def measured() -> Message:
            return await self._measured(receive)

        async def headed(message: Message) -> None:
            if self._fault and not self._started:
                return
            if message["type"] == "http.response.start":
                self._started = True
                _add(message, self._headers, scope["path"])
            await send(message)

        try:
            await app(scope, measured, headed)
        except Exception:
            if self._fault is None:
                raise
        if self._fault and not self._started:
            await _refuse(scope, send, *self._fault, self._headers)

    async def _measured(self, receive: Receive) -> Message:
        if self._whole:
            return await receive()
        if self._until is None:
            self._until = asyncio.get_running_loop().time() + self._within_s
        try:
            async with asyncio.timeout_at(self._until):
                message = await receive()
        except TimeoutError:
            self._fault = 408, f"the body did not come within {self._within_s:g} s; send it again"
            return {"type": "http.disconnect"}
        self._came += len(message.get("body", b""))
        self._whole = not message.get("more_body", False)
        if self._came > self._most:
            self._fault = 413, _too_large(self._most)
            return {"type": "http.disconnect"}
        return message


def _add(message: MutableMapping[str, Any], headers: dict[str, str], path: str) -> None:
    answer = MutableHeaders(scope=message)
    for name, value in headers.items():
        answer[name] = value
    static = path.startswith("/static/")  # asked anew each time, sent anew only if it changed
    answer.setdefault("Cache-Control", "no-cache" if static else "no-store")


def _name(host: str) -> str:
    """Return a Host header's name without its port."""
    if host.startswith("["):
        return host[1:].partition("]")[0].lower()
    return host.partition(":")[0].lower()


def _too_large(most_bytes: int) -> str:
    return f"the body is larger than {most_bytes} bytes; send less, or raise [serve] max_body_bytes"


async def _refuse(
    scope: Scope, send: Send, status: int, fault: str, headers: dict[str, str]
) -> None:
    if scope["type"] == "websocket":
        await send({"type": "websocket.close", "code": 1008, "reason": fault[:100]})
        return
    api = scope["path"].startswith("/api/")
    body = (json.dumps({"faults": [fault]}) if api else fault + "\n").encode()
    kind = "application/json" if api else "text/plain; charset=utf-8"
    start: Message = {
        "type": "http.response.start",
        "status": status,
        "headers": [
            (b"content-type", kind.encode()),
            (b"content-length", str(len(body)).encode()),
            (b"connection", b"close"),
        ],
    }
    _add(start, headers, scope["path"])
    await send(start)
    await send({"type": "http.response.body", "body": body})


def safe_child(folder: Path, name: str) -> Path:
    """Return the file of a name right inside a folder; 404 for anything else or elsewhere."""
    if not name or name.startswith(".") or any(sign in name for sign in "/\\:\0"):
        raise HTTPException(404, "there is no such file")
    path = folder / name
    if path.is_symlink() or not path.is_file() or path.resolve().parent != folder.resolve():
        raise HTTPException(404, "there is no such file")
    return path
