"""Logs are JSON, one object a line, with the number of the request they belong to."""

from __future__ import annotations

import asyncio
import io
import json
import logging
from collections.abc import Iterator
from typing import Any

import httpx
import pytest
import structlog
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import PlainTextResponse
from starlette.routing import Route

from proofbath.web.logging_json import RequestLog, log_as_json


@pytest.fixture
def logged() -> Iterator[io.StringIO]:
    stream = io.StringIO()
    root = logging.getLogger()
    handlers, level = [*root.handlers], root.level
    log_as_json(stream=stream)
    yield stream
    root.handlers[:] = handlers
    root.setLevel(level)
    structlog.reset_defaults()


def lines(stream: io.StringIO) -> list[dict[str, Any]]:
    return [json.loads(line) for line in stream.getvalue().splitlines()]


def test_ours_and_a_librarys_lines_look_the_same(logged: io.StringIO) -> None:
    structlog.get_logger("bench").warning("broker away", topic="proofbath/quay")
    logging.getLogger("uvicorn.error").error("no %s left", "socket")
    ours, theirs = lines(logged)
    assert ours["event"] == "broker away"
    assert ours["topic"] == "proofbath/quay"
    assert theirs["event"] == "no socket left"
    assert {"at", "level", "logger"} <= ours.keys() & theirs.keys()


def test_an_error_is_one_line_with_its_trace(logged: io.StringIO) -> None:
    try:
        raise ValueError("two\nlines")
    except ValueError:
        structlog.get_logger("bench").exception("failed")
    (line,) = lines(logged)
    assert "ValueError: two\nlines" in line["exception"]


def test_repeating_the_configuration_repeats_no_line(logged: io.StringIO) -> None:
    log_as_json(stream=logged)
    logging.getLogger("x").warning("once")
    assert len(lines(logged)) == 1


def test_a_requests_lines_carry_its_number_and_no_secret(logged: io.StringIO) -> None:
    def answer(_: Request) -> PlainTextResponse:
        structlog.get_logger("page").info("asked")
        return PlainTextResponse("well")

    def fail(_: Request) -> PlainTextResponse:
        raise RuntimeError("broken")

    app = RequestLog(Starlette(routes=[Route("/units", answer), Route("/fail", fail)]))

    async def ask() -> list[httpx.Response]:
        transport = httpx.ASGITransport(app, raise_app_exceptions=False)
        async with httpx.AsyncClient(transport=transport, base_url="http://localhost") as client:
            paths = ("/units?password=ferry", "/fail")
            return [await client.get(path, headers={"Cookie": "c=ferry"}) for path in paths]

    well, failed = asyncio.run(ask())
    ours = [line for line in lines(logged) if line["logger"] in ("page", "proofbath.http")]
    of_page, of_request, of_failure = ours
    assert of_page["request"] == of_request["request"] == well.headers["X-Request-Id"]
    assert of_request["path"] == "/units"
    assert of_request["status"] == 200
    assert (of_failure["status"], failed.status_code) == (500, 500)
    assert of_failure["request"] != of_request["request"]
    assert "ferry" not in str(ours)
