"""Notices by mail (a server that speaks SMTP) and by a command (a real process)."""

from __future__ import annotations

import json
import ssl
import subprocess
import sys
from email import message_from_bytes, policy
from pathlib import Path

import pytest

from host.bench.mail_server import MailServer
from proofbath.bench.notify import WAITING_MOST, Notice, Notifier, NotifySettings
from proofbath.description import parse_toml
from proofbath.errors import InputError

TRIP = Notice("trip", "2025-03-14T02:07:05+00:00", "Fähre 2", "run-17", "level low at 81.40 °C")
LOGIN = "\0bench\0s3cret"


def mail(port: int, **more: object) -> NotifySettings:
    described = {
        "host": "localhost",
        "port": port,
        "security": "none",
        "sender": "bench@ferry.test",
        "to": ("night@ferry.test",),
        "timeout_s": 5.0,
    }
    return NotifySettings.model_validate({"mail": described | more})


def command(code: str, *arguments: str, timeout_s: float = 20.0) -> NotifySettings:
    run = (sys.executable, "-c", code, *arguments)
    return NotifySettings.model_validate({"command": {"run": run, "timeout_s": timeout_s}})


def delivered(settings: NotifySettings, *notices: Notice) -> tuple[str, ...]:
    """Post, close, and return the failures."""
    with Notifier(settings) as notifier:
        for notice in notices:
            notifier.post(notice)
    return notifier.failures()


@pytest.fixture(scope="module")
def certificate(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A fresh self-signed certificate for localhost, its key in the same file."""
    path = tmp_path_factory.mktemp("tls") / "server.pem"
    subject = ["-subj", "/CN=localhost", "-addext", "subjectAltName=DNS:localhost"]
    made = ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", *subject]
    subprocess.run([*made, "-keyout", path, "-out", path.with_suffix(".crt")], check=True)
    with path.open("ab") as file:
        file.write(path.with_suffix(".crt").read_bytes())
    return path


def server_context(certificate: Path) -> ssl.SSLContext:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(certificate)
    return context


def test_mail_carries_the_notice_to_all() -> None:
    with MailServer() as server:
        to = ("night@ferry.test", "chief@ferry.test")
        assert delivered(mail(server.port, to=to), TRIP) == ()
    (got,) = server.received
    assert (got.sender, got.to) == ("bench@ferry.test", to)
    message = message_from_bytes(got.data, policy=policy.default)
    assert message["Subject"] == "proofbath Fähre 2: trip"
    assert message["Date"].datetime.isoformat() == TRIP.at
    text = message.get_content()
    assert text.startswith(TRIP.text)
    assert "run run-17" in text


@pytest.mark.parametrize("security", ["starttls", "tls"])
def test_encrypted_mail_logs_in_with_a_password_from_the_environment(
    certificate: Path, monkeypatch: pytest.MonkeyPatch, security: str
) -> None:
    monkeypatch.setenv("FERRY_MAIL", "s3cret")
    with MailServer(server_context(certificate), LOGIN) as server:
        server.encrypts_first = security == "tls"
        settings = mail(
            server.port,
            security=security,
            ca_file=str(certificate.with_suffix(".crt")),
            user="bench",
            password_env="FERRY_MAIL",
        )
        assert delivered(settings, TRIP) == ()
    (got,) = server.received
    assert (got.login, got.encrypted) == (LOGIN, True)


@pytest.mark.parametrize(
    ("content", "why"), [("0ther\n", "535"), ("\n", "no password in"), (None, "FileNotFound")]
)
def test_password_that_is_wrong_or_missing_is_told_without_showing_it(
    certificate: Path, tmp_path: Path, content: str | None, why: str
) -> None:
    path = tmp_path / "password"
    if content is not None:
        path.write_text(content)
    with MailServer(server_context(certificate), LOGIN) as server:
        settings = mail(
            server.port,
            security="starttls",
            ca_file=str(certificate.with_suffix(".crt")),
            user="bench",
            password_file=str(path),
        )
        (failure,) = delivered(settings, TRIP)
    assert why in failure
    assert "0ther" not in failure
    assert server.received == []


def test_server_with_an_unknown_certificate_gets_nothing(certificate: Path) -> None:
    with MailServer(server_context(certificate)) as server:
        (failure,) = delivered(mail(server.port, security="starttls"), TRIP)
    assert "CERTIFICATE_VERIFY_FAILED" in failure
    assert server.received == []


def test_failed_mail_is_told_and_the_next_one_goes_out() -> None:
    with MailServer() as server:
        to = ("gone@ferry.test", "night@ferry.test")
        server.unknown = {"gone@ferry.test"}
        failures = delivered(mail(server.port, to=to), TRIP, TRIP._replace(kind="end"))
    assert len(server.received) == 2
    assert [f.split(" of ")[0] for f in failures] == ["notify: trip", "notify: end"]
    assert "refused for gone@ferry.test" in failures[0]


def test_no_server_and_a_silent_server_are_told() -> None:
    with MailServer() as server:
        server.gate.clear()
        (silent,) = delivered(mail(server.port, timeout_s=0.1), TRIP)
    (gone,) = delivered(mail(server.port), TRIP)
    assert "timed out" in silent.lower()
    assert "refused" in gone.lower()


def test_night_does_not_wait_and_what_does_not_fit_is_counted() -> None:
    with MailServer() as server:
        server.gate.clear()
        notifier = Notifier(mail(server.port))
        # With the server held, a post that waited for it would never come to an end.
        for _ in range(WAITING_MOST + 11):
            notifier.post(TRIP)
        assert len(notifier.failures()) in (10, 11)
        server.gate.set()
        notifier.close()
        notifier.post(TRIP)
    assert len(server.received) in (WAITING_MOST, WAITING_MOST + 1)
    assert len(notifier.failures()) + len(server.received) == WAITING_MOST + 12


def test_closing_gives_up_what_a_silent_server_never_took() -> None:
    with MailServer() as server:
        server.gate.clear()
        notifier = Notifier(mail(server.port))
        for _ in range(30):
            notifier.post(TRIP)
        notifier.close(patience_s=0.05)
        failures = notifier.failures()
        assert "given up at the end" in failures[-1]
        assert failures[0].endswith("earlier failures not shown")


def test_command_gets_the_notice_as_json_and_in_its_environment(tmp_path: Path) -> None:
    code = (
        "import json, os, sys; told = json.load(sys.stdin.buffer); "
        "told['env'] = [os.environ['PROOFBATH_' + k.upper()] for k in told]; "
        "open(sys.argv[1], 'w', encoding='utf-8').write(json.dumps(told))"
    )
    path = tmp_path / "told.json"
    assert delivered(command(code, str(path)), TRIP) == ()
    told = json.loads(path.read_text(encoding="utf-8"))
    assert told.pop("env") == list(TRIP)
    assert told == TRIP._asdict()


@pytest.mark.parametrize(
    ("code", "timeout_s", "why"),
    [
        ("raise SystemExit(3)", 20.0, "status 3"),
        ("input(); input()", 20.0, "status 1"),
        ("import threading; threading.Event().wait()", 0.5, "killed after 0.5 s"),
    ],
)
def test_command_that_fails_or_hangs_is_told(code: str, timeout_s: float, why: str) -> None:
    (failure,) = delivered(command(code, timeout_s=timeout_s), TRIP)
    assert why in failure


def test_missing_program_is_told() -> None:
    settings = NotifySettings.model_validate({"command": {"run": ("no-such-program-here",)}})
    (failure,) = delivered(settings, TRIP)
    assert "FileNotFoundError" in failure


def test_only_wanted_kinds_are_told_and_nothing_by_default(tmp_path: Path) -> None:
    path = tmp_path / "kinds"
    code = "import os, sys; open(sys.argv[1], 'a').write(os.environ['PROOFBATH_KIND'] + ' ')"
    settings = command(code, str(path)).model_copy(update={"events": ("trip", "alarm")})
    notices = (TRIP, TRIP._replace(kind="end"), TRIP._replace(kind="alarm"))
    assert delivered(settings, *notices) == ()
    assert path.read_text() == "trip alarm "
    assert delivered(NotifySettings(), TRIP) == ()
    assert path.read_text() == "trip alarm "


@pytest.mark.parametrize(
    ("lines", "why"),
    [
        ('user = "bench"', "exactly one of password_env and password_file"),
        ('password_env = "FERRY_MAIL"', "exactly one of password_env and password_file"),
        (
            'user = "bench"\npassword_env = "FERRY_MAIL"\nsecurity = "none"',
            'a password needs security "starttls" or "tls"',
        ),
        ('password = "open"', "unknown key"),
    ],
)
def test_mail_settings_that_would_leak_or_lack_a_password_are_refused(lines: str, why: str) -> None:
    text = f'[mail]\nhost = "ferry.test"\nsender = "a@b"\nto = ["c@d"]\n{lines}'
    with pytest.raises(InputError, match=why):
        parse_toml(text, NotifySettings, "bench.toml")
