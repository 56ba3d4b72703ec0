"""Logs, configured here alone: one JSON object a line on standard error, ours and libraries'.

A request's lines carry its number, which its answer names in the header `X-Request-Id`.
"""

from __future__ import annotations

import logging
import secrets
import sys
from typing import Any, TextIO

import structlog
from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send
from structlog.contextvars import bind_contextvars, clear_contextvars, merge_contextvars
from structlog.types import EventDict, Processor

from proofbath.bench.clock import monotonic_s, utc_text

HEADER = "X-Request-Id"
_HANDLER = "proofbath"
_log = structlog.get_logger("proofbath.http")


def log_as_json(level: str = "info", stream: TextIO | None = None) -> None:
    """Send every log line as JSON to a stream, by default standard error; safe to repeat."""
    shared: list[Processor] = [
        merge_contextvars,
        structlog.stdlib.add_log_level,
        structlog.stdlib.add_logger_name,
        _add_time,
        structlog.processors.format_exc_info,
    ]
    structlog.configure(
        processors=[*shared, structlog.stdlib.ProcessorFormatter.wrap_for_formatter],
        logger_factory=structlog.stdlib.LoggerFactory(),
        wrapper_class=structlog.stdlib.BoundLogger,
        cache_logger_on_first_use=False,
    )
    handler = logging.StreamHandler(stream) if stream else _StandardError()
    handler.set_name(_HANDLER)
    handler.setFormatter(
        structlog.stdlib.ProcessorFormatter(
            foreign_pre_chain=[*shared],
            processors=[
                structlog.stdlib.ProcessorFormatter.remove_processors_meta,
                structlog.processors.JSONRenderer(ensure_ascii=False, default=str),
            ],
        )
    )
    root = logging.getLogger()
    for old in [h for h in root.handlers if h.get_name() == _HANDLER]:
        root.removeHandler(old)
    root.addHandler(handler)
    root.setLevel(level.upper())
    logging.getLogger("alembic").setLevel("WARNING")
    for name in ("uvicorn", "uvicorn.error", "uvicorn.access"):  # the server brings its own
        logger = logging.getLogger(name)
        logger.handlers.clear()
        logger.propagate = name != "uvicorn.access"  # each request is logged once, by RequestLog


class RequestLog:
    """Numbers each request and logs how it ended: never its query, its form or its cookies."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on; its lines in the log carry its number."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        number, began_s, status = secrets.token_hex(6), monotonic_s(), 500
        clear_contextvars()
        bind_contextvars(request=number)

        async def noted(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                MutableHeaders(scope=message)[HEADER] = number
            await send(message)

        try:
            await self._app(scope, receive, noted)
        finally:
            took_ms = round(1000 * (monotonic_s() - began_s), 1)
            told: dict[str, Any] = {"method": scope["method"], "path": scope["path"]}
            _log.info("request", **told, status=status, took_ms=took_ms)


class _StandardError(logging.StreamHandler[TextIO]):
    """Writes to whatever standard error is at the time."""

    def emit(self, record: logging.LogRecord) -> None:
        self.stream = sys.stderr
        super().emit(record)


def _add_time(_logger: Any, _method: str, event: EventDict) -> EventDict:
    event["at"] = utc_text()
    return event
