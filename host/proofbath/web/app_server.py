"""Listening: a socket opened by us, the workshop's own TLS, no dawdling, a stop that finishes."""

from __future__ import annotations

import asyncio
import signal
import socket
import ssl
import sys
from collections.abc import Callable
from pathlib import Path
from types import FrameType

import uvicorn
from fastapi import FastAPI
from uvicorn.protocols.http.h11_impl import H11Protocol, RequestResponseCycle

from proofbath.errors import InputError
from proofbath.workshop.serve_settings import ServeSettings

STOP_WITHIN_S = 5
"""How long open requests may take to finish when the server is told to stop."""
MOST_AT_ONCE = 250
"""Connections and requests; who comes beyond is told 503."""
_LARGEST_MESSAGE_BYTES = 65_536


class HastyProtocol(H11Protocol):
    """Closes a connection on which nothing was asked for a while: slow headers hold no place."""

    within_s = 15.0

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin to watch."""
        super().connection_made(transport)
        self.loop.call_later(self.within_s, self._look, None)

    def _look(self, before: RequestResponseCycle | None) -> None:
        cycle: RequestResponseCycle | None = self.cycle
        if self.transport.is_closing() or self.transport.get_protocol() is not self:
            return
        if cycle is before and (cycle is None or cycle.response_complete):
            self.transport.close()
        else:
            self.loop.call_later(self.within_s, self._look, cycle)


def refuse_unsafe(settings: ServeSettings, people: bool, told: bool) -> None:
    """Refuse to listen beyond this computer unprotected, unless `told` to; raises InputError.

    `people` says whether anybody has a password.
    """
    if settings.loopback:
        return
    faults = []
    if not people and not told:
        faults.append("nobody has a password; type: proofbath serve administrator NAME")
    if not settings.secure and not told:
        faults.append(
            "passwords would travel in the clear; name certificate and key in [serve], or set"
            " behind_proxy"
        )
    if settings.host in ("0.0.0.0", "::") and not settings.trusted_hosts:
        faults.append("name in [serve] trusted_hosts how this computer is called on the network")
    if faults:
        raise InputError(*(f"host {settings.host} is beyond this computer: {f}" for f in faults))


def serve(
    app: FastAPI, settings: ServeSettings, folder: Path, listening: Callable[[str], None]
) -> None:
    """Serve until told to stop by a signal; `listening` hears the address once it is open.

    Certificate files are looked for from `folder`; raises InputError.
    """
    certificate, key = _checked_tls(settings, folder)
    config = uvicorn.Config(
        app,
        http=HastyProtocol,
        limit_concurrency=MOST_AT_ONCE,
        ssl_certfile=certificate,
        ssl_keyfile=key,
        proxy_headers=settings.behind_proxy,
        forwarded_allow_ips=[*settings.proxy_addresses] if settings.behind_proxy else None,
        server_header=False,
        access_log=False,
        log_config=None,
        ws_max_size=_LARGEST_MESSAGE_BYTES,
        timeout_graceful_shutdown=STOP_WITHIN_S,
    )
    with open_socket(settings.host, settings.port) as opened:
        host, port = opened.getsockname()[:2]
        shown = f"[{host}]" if ":" in host else host
        listening(f"{'https' if certificate else 'http'}://{shown}:{port}/")
        for number in (signal.SIGINT, signal.SIGTERM):
            signal.signal(number, _leave)
        uvicorn.Server(config).run(sockets=[opened])


def open_socket(host: str, port: int) -> socket.socket:
    """Listen at an address; raises InputError where that cannot be."""
    try:
        family = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0][0]
        opened = socket.create_server((host, port), family=family, backlog=128)
    except OSError as error:
        raise InputError(
            f"{host}:{port}: cannot listen there: {error.strerror}; name another --port or --host"
        ) from error
    # Connections inherit it: an answer's body does not wait until its head is acknowledged.
    opened.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    return opened


def _checked_tls(settings: ServeSettings, folder: Path) -> tuple[Path | None, Path | None]:
    if settings.certificate is None or settings.key is None:
        return None, None
    certificate, key = folder / settings.certificate, folder / settings.key
    try:
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(certificate, key)
    except OSError as error:
        raise InputError(
            f"[serve] certificate {certificate} and key {key}: cannot be used: {error.strerror};"
            " give PEM files that belong together"
        ) from error
    return certificate, key


def _leave(_number: int, _frame: FrameType | None) -> None:
    """Leave once the server has stopped: it raises the signal again when it has finished."""
    sys.exit(0)
