"""The verb `serve`: the real process on a real socket, and where it refuses to listen."""

from __future__ import annotations

import datetime as dt
import ipaddress
import signal
import socket
import ssl
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import httpx
import pytest
import uvicorn
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat
from cryptography.x509.oid import NameOID
from starlette.types import Receive, Scope, Send

from proofbath.cli import main
from proofbath.errors import InputError
from proofbath.store.access import Access
from proofbath.store.kinds import Action, Person
from proofbath.store.records import Records
from proofbath.web.app_server import HastyProtocol, open_socket, refuse_unsafe
from proofbath.web.password import Passwords
from proofbath.workshop.serve_settings import ServeSettings

SHOP = """
[workshop]
name = "Ferry works"
address = ["Quay 4"]
contact = "bench@ferry.example"
"""
TLS = {"certificate": "tls.pem", "key": "tls.key"}
NETWORK = {"host": "0.0.0.0", "trusted_hosts": ("bench.ferry.example",)}


@pytest.fixture
def shop_file(tmp_path: Path) -> Path:
    """Return the file of a new workshop, a password beside it."""
    (tmp_path / "password").write_text("nine knots upstream\n")
    (tmp_path / "workshop.toml").write_text(SHOP)
    return tmp_path / "workshop.toml"


def run(*arguments: object) -> int:
    """Run the command line in this process and return its exit status."""
    with pytest.raises(SystemExit) as left:
        main([str(argument) for argument in arguments])
    assert isinstance(left.value.code, int)
    return left.value.code


def make_administrator(shop_file: Path, name: str = "Ines Brandt", *more: str) -> int:
    """Give an administrator the password of the file beside the workshop's."""
    password = shop_file.with_name("password")
    told = ("--shop", shop_file, "--password-file", password)
    return run("serve", "administrator", name, *told, *more)


def free_port() -> int:
    """Return a port that nobody listened on a moment ago."""
    with socket.create_server(("127.0.0.1", 0)) as opened:
        port: int = opened.getsockname()[1]
        return port


@contextmanager
def served(shop_file: Path) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """Serve a workshop in a process of its own; yield it and the address it tells."""
    command = [sys.executable, "-m", "proofbath", "serve", "--shop", str(shop_file)]
    with subprocess.Popen(
        [*command, "--port", str(free_port())], stdout=subprocess.PIPE, text=True
    ) as process:
        try:
            assert process.stdout
            line = process.stdout.readline()
            assert line.startswith("serving "), line
            yield process, line.split()[1].rstrip(";")
        finally:
            process.kill()


def test_the_process_serves_and_stops_cleanly_when_told(shop_file: Path) -> None:
    assert make_administrator(shop_file) == 0
    with served(shop_file) as (process, address):
        with httpx.Client(base_url=address) as client:
            who = {"name": "Ines Brandt", "password": "nine knots upstream"}
            assert client.post("/api/session", json=who).json()["rights"] == ["administrator"]
            assert client.get("/settings/people").status_code == 200
            assert "uvicorn" not in client.get("/settings").headers.get("server", "")
            assert client.get(address, headers={"Host": "evil.example"}).status_code == 400
        process.send_signal(signal.SIGTERM)
        assert process.wait(30) == 0


def test_the_process_speaks_tls_with_the_workshops_own_files(shop_file: Path) -> None:
    write_tls(shop_file.parent)
    shop_file.write_text(SHOP + '[serve]\ncertificate = "tls.pem"\nkey = "tls.key"\n')
    assert make_administrator(shop_file) == 0
    trusted = ssl.create_default_context(cafile=str(shop_file.with_name("tls.pem")))
    with served(shop_file) as (process, address):
        assert address.startswith("https://127.0.0.1:")
        answer = httpx.get(f"{address}sign-in", verify=trusted)
        assert answer.headers["strict-transport-security"]
        process.send_signal(signal.SIGINT)
        assert process.wait(30) == 0


def test_no_answer_waits_until_its_head_is_acknowledged() -> None:
    """Nagle's algorithm (RFC 896) would hold each body back for a delayed acknowledgement."""
    port = free_port()
    with (
        open_socket("127.0.0.1", port) as listening,
        socket.create_connection(("127.0.0.1", port)),
        listening.accept()[0] as accepted,
    ):
        assert accepted.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)


def write_tls(folder: Path) -> None:
    """Write a certificate of this computer, signed by itself, and its key."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "bench")])
    day = dt.timedelta(days=1)
    here = x509.SubjectAlternativeName([x509.IPAddress(ipaddress.ip_address("127.0.0.1"))])
    now = dt.datetime.now(dt.UTC)  # the TLS library has no other clock to be given
    made = (
        x509.CertificateBuilder(name, name, key.public_key(), x509.random_serial_number())
        .not_valid_before(now - day)
        .not_valid_after(now + day)
        .add_extension(here, critical=False)
        .sign(key, SHA256())
    )
    (folder / "tls.pem").write_bytes(made.public_bytes(Encoding.PEM))
    secret = key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    (folder / "tls.key").write_bytes(secret)


def test_behind_a_proxy_tries_are_counted_where_they_come_from(shop_file: Path) -> None:
    shop_file.write_text(SHOP + "[serve]\nbehind_proxy = true\n")
    assert make_administrator(shop_file) == 0
    proxied = {"X-Forwarded-For": "203.0.113.5", "X-Forwarded-Proto": "https"}
    who = {"name": "Ines Brandt", "password": "nine knots upstream"}
    with served(shop_file) as (_process, address):
        answer = httpx.post(f"{address}api/session", json=who, headers=proxied)
    assert answer.headers["set-cookie"].startswith("__Host-proofbath=")
    with closing(Records(shop_file.with_name("records.sqlite"))) as records:
        assert records.current(Action)[-1].entry.detail == "from 203.0.113.5"


class HastierProtocol(HastyProtocol):
    """The same with less patience, for a test."""

    within_s = 0.05


def test_who_sends_half_a_header_is_left() -> None:
    async def nothing(scope: Scope, receive: Receive, send: Send) -> None:
        await send({"type": "http.response.start", "status": 204, "headers": []})
        await send({"type": "http.response.body"})

    config = uvicorn.Config(nothing, http=HastierProtocol, lifespan="off", log_config=None)
    server = uvicorn.Server(config)
    with socket.create_server(("127.0.0.1", 0)) as opened:
        serving = threading.Thread(target=server.run, kwargs={"sockets": [opened]})
        serving.start()
        try:
            for begun in (b"", b"GET / HT", b"GET / HTTP/1.1\r\nHost: x\r\n\r\nGET / HT"):
                with socket.create_connection(opened.getsockname(), 30) as client:
                    client.sendall(begun)
                    answer = b""
                    while more := client.recv(4096):
                        answer += more
                    assert (b"204" in answer) == (b"Host" in begun)
        finally:
            server.should_exit = True
            serving.join()


def test_a_port_in_use_is_told_in_one_line(
    shop_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        assert run("serve", "--shop", shop_file, "--port", port) == 2
    assert f"127.0.0.1:{port}: cannot listen there" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("settings", "people", "told", "faults"),
    [
        ({}, False, False, 0),
        ({"host": "::1"}, False, False, 0),
        (NETWORK, False, False, 2),
        (NETWORK, True, False, 1),
        (NETWORK, False, True, 0),
        (NETWORK | TLS, False, False, 1),
        (NETWORK | TLS, True, False, 0),
        (NETWORK | {"behind_proxy": True}, True, False, 0),
        (TLS | {"host": "0.0.0.0"}, True, False, 1),
        ({"host": "192.168.7.2"}, True, False, 1),
    ],
)
def test_it_listens_beyond_this_computer_only_protected_or_told_to(
    settings: dict[str, object], people: bool, told: bool, faults: int
) -> None:
    given = ServeSettings.model_validate(settings)
    try:
        refuse_unsafe(given, people, told)
        found = 0
    except InputError as error:
        found = len(error.faults)
    assert found == faults


def test_the_verb_refuses_with_status_2_and_says_why(
    shop_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("serve", "--shop", shop_file, "--host", "192.0.2.1") == 2
    told = capsys.readouterr().err.splitlines()
    assert len(told) == 2
    assert "nobody has a password" in told[0]
    assert "in the clear" in told[1]


@pytest.mark.parametrize("lines", ['certificate = "a.pem"', "port = 0", "behind_proxi = true"])
def test_settings_that_do_not_fit_are_refused(
    shop_file: Path, capsys: pytest.CaptureFixture[str], lines: str
) -> None:
    shop_file.write_text(f"{SHOP}[serve]\n{lines}\n")
    assert run("serve", "--shop", shop_file) == 2
    assert "workshop.toml: serve" in capsys.readouterr().err


def test_the_first_administrator_comes_on_record_by_the_verb(shop_file: Path) -> None:
    assert make_administrator(shop_file, "Ines Brandt", "--right", "certifier") == 0
    with closing(Records(shop_file.with_name("records.sqlite"))) as records:
        person = records.find(Person, name="Ines Brandt")
        assert person.entry.rights == ("administrator", "certifier")
        noted = records.current(Action)[-1]
        assert (noted.entry.what, noted.by) == ("password changed", person.root)
    with closing(Access(shop_file.with_name("records.sqlite"))) as access:
        kept = access.credential(person.root)
        assert kept
        assert kept.password_hash.startswith("$argon2id$")
        assert Passwords().fits(kept.password_hash, "nine knots upstream")
        assert not Passwords().fits(kept.password_hash, "nine knots downstream")


def test_a_second_administrator_needs_somebody_who_says_so(
    shop_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert make_administrator(shop_file) == 0
    assert make_administrator(shop_file, "Olaf Petersen") == 2
    assert "say who" in capsys.readouterr().err
    assert make_administrator(shop_file, "Olaf Petersen", "--by", "Ines Brandt") == 0


def test_a_short_password_puts_nobody_on_record(
    shop_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shop_file.with_name("password").write_text("short\n")
    assert make_administrator(shop_file) == 2
    assert "password: 5 characters, 10 to 1000 are allowed" in capsys.readouterr().err
    with closing(Records(shop_file.with_name("records.sqlite"))) as records:
        assert records.current(Person) == []
