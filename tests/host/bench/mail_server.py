"""A mail server on loopback: SMTP in real bytes (RFC 5321, RFC 3207 STARTTLS, RFC 4954 AUTH)."""

from __future__ import annotations

import base64
import ssl
from socketserver import StreamRequestHandler, ThreadingTCPServer
from threading import Condition, Event, Thread
from types import TracebackType
from typing import NamedTuple, Self

PATIENCE_S = 5.0


class Received(NamedTuple):
    sender: str
    to: tuple[str, ...]
    data: bytes
    login: str
    """NUL-separated as RFC 4616 has it; empty without."""
    encrypted: bool


class _Session(StreamRequestHandler):
    def handle(self) -> None:
        self.mail: MailServer = self.server.mail  # type: ignore[attr-defined]
        self.sender, self.to, self.login, self.encrypted = "", list[str](), "", False
        self.mail.gate.wait()
        if self.mail.context and self.mail.encrypts_first:
            self.encrypt(self.mail.context)
        self.say("220 ferry.test ready")
        while line := self.rfile.readline():
            verb, _, rest = line.decode("ascii").strip().partition(" ")
            if not self.obey(verb.upper(), rest):
                return

    def say(self, text: str) -> None:
        self.wfile.write(text.encode() + b"\r\n")

    def obey(self, verb: str, rest: str) -> bool:
        if verb in ("EHLO", "HELO"):
            self.greet()
        elif verb == "STARTTLS" and self.mail.context:
            self.say("220 go ahead")
            self.encrypt(self.mail.context)
        elif verb == "AUTH":
            self.login = base64.b64decode(rest.split()[1]).decode()
            self.say("235 welcome" if self.login == self.mail.login else "535 not known")
        elif verb == "MAIL":
            self.sender, self.to = rest[len("FROM:<") :].partition(">")[0], []
            self.say("250 ok")
        elif verb == "RCPT":
            self.recipient(rest[len("TO:<") :].partition(">")[0])
        elif verb == "DATA":
            self.say("354 go on")
            self.mail.take(Received(self.sender, tuple(self.to), self.data(), *self.how()))
            self.say("250 taken")
        else:
            self.say("221 bye" if verb == "QUIT" else "250 ok")
        return verb != "QUIT"

    def how(self) -> tuple[str, bool]:
        return self.login, self.encrypted

    def greet(self) -> None:
        can = ["ferry.test", "8BITMIME"]
        if self.mail.context and not self.encrypted:
            can.append("STARTTLS")
        if self.encrypted and self.mail.login:
            can.append("AUTH PLAIN")
        for word in can[:-1]:
            self.say(f"250-{word}")
        self.say(f"250 {can[-1]}")

    def encrypt(self, context: ssl.SSLContext) -> None:
        self.request = context.wrap_socket(self.request, server_side=True)
        self.encrypted = True
        self.setup()

    def finish(self) -> None:
        super().finish()
        self.request.close()  # the encrypted socket is another one than the server closes

    def recipient(self, address: str) -> None:
        if address in self.mail.unknown:
            self.say("550 no such mailbox")
        else:
            self.to.append(address)
            self.say("250 ok")

    def data(self) -> bytes:
        """RFC 5321, 4.5.2: a lone dot ends the text, a leading dot of a line is doubled."""
        lines = list[bytes]()
        while (line := self.rfile.readline()) != b".\r\n":
            lines.append(line.removeprefix(b"."))
        return b"".join(lines)


class _Server(ThreadingTCPServer):
    daemon_threads = True
    mail: MailServer

    def handle_error(self, request: object, client_address: object) -> None:
        """A client that hangs up or distrusts the certificate is no error of the server."""


class MailServer:
    """`unknown` addresses are refused; with the gate cleared it says nothing."""

    def __init__(self, context: ssl.SSLContext | None = None, login: str = "") -> None:
        self.context = context
        self.login = login
        self.encrypts_first = False
        """As on port 465 (RFC 8314), instead of by STARTTLS."""
        self.unknown = set[str]()
        self.gate = Event()
        self.gate.set()
        self.received = list[Received]()
        self._change = Condition()
        self._server = _Server(("127.0.0.1", 0), _Session)
        self._server.mail = self
        self._thread = Thread(target=self._server.serve_forever, args=(0.01,))

    @property
    def port(self) -> int:
        return int(self._server.server_address[1])

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.gate.set()
        self._server.shutdown()
        self._thread.join()
        self._server.server_close()

    def take(self, received: Received) -> None:
        with self._change:
            self.received.append(received)
            self._change.notify_all()
