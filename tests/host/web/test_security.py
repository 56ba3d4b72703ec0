"""The list of attacks: each is tried against the whole application and gets nowhere."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import AsyncIterator, Callable
from pathlib import Path

import pytest
from fastapi import FastAPI
from starlette.exceptions import HTTPException

from host.web.conftest import ORIGIN, PASSWORD, Browser
from proofbath.store.kinds import Person
from proofbath.web.security import Gate, safe_child
from proofbath.workshop.serve_settings import ServeSettings
from proofbath.workshop.shop import Shop

Open = Callable[..., Browser]
NEW = {"old": PASSWORD, "new": "slack water at four"}
ATTACKS = (
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "'; DROP TABLE person; --",
    "{{ 7 * 7 }}{% raw %}",
)


@pytest.mark.parametrize("cookie", ["", "x", "0" * 43, "' OR 1=1 --", "ÿþ", "a" * 5000])
def test_a_forged_cookie_is_nobodys(open_browser: Open, cookie: str) -> None:
    raw = b"proofbath=" + cookie.encode("latin-1")
    answer = open_browser().get("/api/session", headers={b"cookie": raw})  # type: ignore[dict-item]
    assert answer.status_code == 401


def test_what_the_database_keeps_of_a_session_does_not_sign_in(
    app: FastAPI, open_browser: Open
) -> None:
    open_browser("administrator")
    thief = open_browser()
    for session in app.state.frame.access.sessions():
        thief.client.cookies.set("proofbath", session.digest)
        assert thief.get("/api/session").status_code == 401


def test_a_session_known_beforehand_is_not_taken_over(open_browser: Open) -> None:
    browser, attacker = open_browser("viewer"), open_browser()
    attacker.client.cookies.update(browser.client.cookies)
    before = browser.client.cookies["proofbath"]
    assert browser.sign_in("administrator").status_code == 303
    assert browser.client.cookies["proofbath"] != before
    assert attacker.get("/api/session").status_code == 401
    victim = open_browser()
    victim.client.cookies.set("proofbath", "chosen-by-the-attacker", "localhost.local")
    victim.sign_in("viewer")
    assert victim.client.cookies["proofbath"] != "chosen-by-the-attacker"


@pytest.mark.parametrize("token", ["", "0" * 64, "ünë"])
def test_a_form_without_the_sessions_token_changes_nothing(open_browser: Open, token: str) -> None:
    browser = open_browser("operator")
    for answer in (
        browser.post("/settings/password", {**NEW, "token": token}),
        browser.ask("PUT", "/api/password", json=NEW),
        browser.ask("POST", "/settings/password", json=NEW),
        browser.ask("POST", "/settings/password", files={"token": b"a file"}, data=NEW),
        browser.post("/settings/password", {**NEW, "token": open_browser("operator").token}),
    ):
        assert answer.status_code == 403
        assert "not of this session" in answer.text
    assert open_browser().sign_in("operator").status_code == 303


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "https://evil.example"},
        {"Origin": "null"},
        {"Origin": "http://["},
        {"Origin": f"{ORIGIN}.evil.example"},
        {"Origin": f"{ORIGIN}:8080"},
        {"Origin": "ftp://localhost"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ],
)
def test_another_sites_form_is_refused_even_with_the_token(
    open_browser: Open, headers: dict[str, str]
) -> None:
    browser = open_browser("operator")
    form = {"token": browser.token, **NEW}
    assert browser.ask("POST", "/settings/password", data=form, headers=headers).status_code == 403
    signing_in = {"name": "viewer", "password": PASSWORD}
    assert browser.ask("POST", "/sign-in", data=signing_in, headers=headers).status_code == 403


@pytest.mark.parametrize("host", ["evil.example", "", "localhost.evil.example", "[::2]:80", "a b"])
def test_another_host_name_is_refused(open_browser: Open, host: str) -> None:
    answer = open_browser().get("/sign-in", headers={"Host": host})
    assert answer.status_code == 400
    assert "trusted_hosts" in answer.text


@pytest.mark.parametrize("host", ["LOCALHOST:8374", "127.0.0.1", "[::1]:8374"])
def test_own_host_names_are_taken(open_browser: Open, host: str) -> None:
    assert open_browser().get("/sign-in", headers={"Host": host}).status_code == 200


def test_a_body_too_large_is_refused_before_it_is_read(
    open_browser: Open, settings: ServeSettings
) -> None:
    read: list[int] = []

    async def endless() -> AsyncIterator[bytes]:
        while True:
            read.append(100_000)
            yield b"x" * read[-1]

    said = {"Content-Length": str(settings.max_body_bytes + 1)}
    browser = open_browser("operator")
    for path in ("/sign-in", "/api/session"):
        answer = browser.ask("POST", path, content=endless(), headers=said)
        assert (answer.status_code, read) == (413, [])
    for kind, status in (("application/json", 413), ("application/x-www-form-urlencoded", 400)):
        headers = {"Content-Type": kind}
        path = "/api/session" if status == 413 else "/sign-in"  # a form's parser stops earlier
        answer = browser.ask("POST", path, content=endless(), headers=headers)
        assert answer.status_code == status
        assert 0 < sum(read) <= settings.max_body_bytes + 200_000
        read.clear()


def test_a_body_that_does_not_come_is_not_waited_for(
    app: FastAPI, settings: ServeSettings, open_browser: Open
) -> None:
    async def never() -> AsyncIterator[bytes]:
        yield b'{"name": "vie'
        await asyncio.Event().wait()

    hasty = Browser(Gate(app, settings, body_within_s=0.0), open_browser().runner)
    told = hasty.ask("POST", "/api/session", content=never())
    assert (told.status_code, told.json()["faults"][0][:21]) == (408, "the body did not come")


@pytest.mark.parametrize("length", ["-1", "1e3", "0x10", "٣", "9" * 5000])
def test_a_length_that_is_no_number_is_refused(open_browser: Open, length: str) -> None:
    headers = {b"content-length": length.encode()}
    answer = open_browser().ask("POST", "/sign-in", content=b"", headers=headers)
    assert answer.status_code == 400


@pytest.mark.parametrize(
    "path",
    [
        "/static/../app.py",
        "/static/..%2fapp.py",
        "/static/%2e%2e/app.py",
        "/static/..%5capp.py",
        "/static//etc/passwd",
        "/static/%00",
        "/static/templates/../../app.py",
    ],
)
def test_static_files_lie_in_their_folder_alone(open_browser: Open, path: str) -> None:
    assert open_browser().get(path).status_code in (404, 405)
    assert open_browser().get("/static/proofbath.css").status_code == 200


def test_a_named_file_lies_right_inside_its_folder(tmp_path: Path) -> None:
    folder = tmp_path / "certificates"
    (folder / "deeper").mkdir(parents=True)
    for path in (tmp_path / "secret", folder / "PB-1.pdf", folder / ".hidden", folder / "deeper/x"):
        path.write_text("x")
    (folder / "link.pdf").symlink_to(tmp_path / "secret")
    assert safe_child(folder, "PB-1.pdf") == folder / "PB-1.pdf"
    absolute = str(tmp_path / "secret")
    names = ["", ".", "..", "../secret", "deeper", "deeper/x", "..\\secret", absolute, ".hidden"]
    for name in [*names, "link.pdf", "missing", "PB-1.pdf\0", "c:secret"]:
        with pytest.raises(HTTPException) as refused:
            safe_child(folder, name)
        assert refused.value.status_code == 404


@pytest.mark.parametrize("text", ATTACKS)
def test_html_and_sql_in_names_are_kept_and_shown_as_text(
    open_browser: Open, shop: Shop, text: str
) -> None:
    browser = open_browser("administrator")
    form = {"name": text, "password": PASSWORD, "rights": ["viewer"]}
    assert browser.post("/settings/people", form).status_code == 303
    assert shop.person(text).entry == Person(name=text, rights=("viewer",))
    for path in ("/settings/people", "/settings/record"):
        assert browser.get(path).status_code == 200
        assert "<script>alert" not in browser.get(path).text
        assert "<img src=x" not in browser.get(path).text
    back = open_browser().post("/sign-in", {"name": text, "password": "x", "next": text})
    assert back.status_code == 401
    assert "<script>alert" not in back.text
    assert "<img src=x" not in back.text
    found = browser.get(f"/{text}")
    assert found.status_code == 404
    assert "<script>alert" not in found.text
    assert [kept.root for kept in shop.records.current(Person)][:2] == [1, 2]


@pytest.mark.parametrize("text", ["", " ", "a\0b", "a\nb", "x" * 201, "x" * 1001])
def test_names_that_are_no_line_are_refused_in_words(open_browser: Open, text: str) -> None:
    browser = open_browser("administrator")
    form = {"name": text, "password": PASSWORD, "rights": ["viewer"]}
    assert browser.post("/settings/people", form).status_code == 422
    assert browser.send("POST", "/api/people", form).status_code == 422
    assert open_browser().sign_in(text, "wrong password").status_code in (401, 422)


@pytest.mark.parametrize("number", ["0", "-1", str(2**31), "9" * 40, "1e3", "x"])
def test_numbers_no_record_can_have_are_refused(open_browser: Open, number: str) -> None:
    browser = open_browser("administrator")
    assert browser.post(f"/settings/people/{number}/sessions").status_code == 422
    assert browser.send("DELETE", f"/api/people/{number}/sessions").status_code == 422
    assert browser.get(f"/api/record?before={number}").status_code == 422


def test_half_a_sign_is_refused_and_no_error(open_browser: Open) -> None:
    browser = open_browser("administrator")
    body = b'{"name": "\\ud800", "password": "a long enough one", "rights": []}'
    headers = {"X-Proofbath-Token": browser.token, "Content-Type": "application/json"}
    assert browser.ask("POST", "/api/people", content=body, headers=headers).status_code == 422
    body = b'{"name": "\\ud800", "password": "\\ud800 and more of it"}'
    assert browser.ask("POST", "/api/session", content=body, headers=headers).status_code == 422


def test_all_answers_carry_the_headers_that_bind_the_browser(open_browser: Open) -> None:
    browser = open_browser("viewer")
    answers = [browser.get(path) for path in ("/settings", "/nowhere", "/static/proofbath.css")]
    answers += [browser.get("/", headers={"Host": "evil.example"}), browser.post("/sign-out")]
    for answer in answers:
        policy = answer.headers["content-security-policy"]
        assert "default-src 'self'" in policy
        assert "unsafe" not in policy
        assert "frame-ancestors 'none'" in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["referrer-policy"] == "same-origin"
    assert answers[0].headers["cache-control"] == "no-store"
    assert answers[2].headers["cache-control"] == "no-cache"


def test_an_error_tells_nothing_of_the_inside(
    app: FastAPI, open_browser: Open, caplog: pytest.LogCaptureFixture
) -> None:
    def broken() -> None:
        raise RuntimeError("the inside")

    app.add_api_route("/api/broken", broken)
    app.add_api_route("/broken", broken)
    browser = open_browser("viewer")
    with caplog.at_level(logging.ERROR):
        answers = [browser.get("/api/broken"), browser.get("/broken")]
    for answer in answers:
        assert answer.status_code == 500
        assert "inside" not in answer.text.replace("inside out", "")
        assert "Traceback" not in answer.text
        assert "default-src" in answer.headers["content-security-policy"]
    assert caplog.text.count("RuntimeError: the inside") == 2


class TestBehindTls:
    """What changes where the browser speaks TLS."""

    @pytest.fixture
    def settings(self) -> ServeSettings:
        """Return settings of pages behind a proxy."""
        return ServeSettings(behind_proxy=True, trusted_hosts=("bench.ferry.example",))

    def test_the_cookie_is_bound_to_host_and_tls(self, app: FastAPI, open_browser: Open) -> None:
        headers = {"Host": "bench.ferry.example", "Origin": "https://bench.ferry.example"}
        form = {"name": "viewer", "password": PASSWORD}
        answer = open_browser().ask("POST", "/sign-in", data=form, headers=headers)
        given = answer.headers["set-cookie"]
        assert given.startswith("__Host-proofbath=")
        assert "secure" in given.lower()
        assert "domain" not in given.lower()
        assert answer.headers["strict-transport-security"] == "max-age=31536000"

    def test_a_page_in_the_clear_cannot_post(self, open_browser: Open) -> None:
        headers = {"Host": "bench.ferry.example", "Origin": "http://bench.ferry.example"}
        form = {"name": "viewer", "password": PASSWORD}
        answer = open_browser().ask("POST", "/sign-in", data=form, headers=headers)
        assert answer.status_code == 403
