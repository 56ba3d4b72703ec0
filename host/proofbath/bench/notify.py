"""Notices of a night to people: by mail, by a command of theirs, or not at all (the default).

A notice that cannot be delivered never disturbs the night: it is counted and reported as text.
"""

from __future__ import annotations

import json
import os
import smtplib
import ssl
import subprocess
from collections import deque
from collections.abc import Callable
from datetime import datetime
from email.message import EmailMessage
from email.utils import format_datetime, make_msgid
from functools import partial
from pathlib import Path
from threading import Condition, Thread
from types import TracebackType
from typing import Annotated, Literal, NamedTuple, Self

from pydantic import Field, model_validator

from proofbath.description import Described
from proofbath.errors import InputError

Kind = Literal["trip", "end", "delay", "alarm"]
KINDS: tuple[Kind, ...] = ("trip", "end", "delay", "alarm")
Word = Annotated[str, Field(min_length=1, max_length=255)]
Address = Annotated[str, Field(max_length=254, pattern=r"^[^@\s,<>]+@[^@\s,<>]+$")]
Patience = Annotated[float, Field(ge=0.1, le=120.0)]
WAITING_MOST = 32
FAILURES_KEPT = 20


class Notice(NamedTuple):
    """One thing worth telling."""

    kind: Kind
    at: str
    """ISO 8601 with its offset from UTC."""
    bench: str
    run: str
    text: str


class MailSettings(Described):
    """A mail server that takes the notices; the password is never in the bench file."""

    host: Word
    port: Annotated[int, Field(ge=1, le=65535)] = 587
    security: Literal["starttls", "tls", "none"] = "starttls"
    ca_file: Word | None = None
    """Certificate of the authority that vouches for the server, where the system knows none."""
    sender: Address
    to: Annotated[tuple[Address, ...], Field(min_length=1, max_length=20)]
    user: Word | None = None
    password_env: Word | None = None
    """Environment variable that holds the password."""
    password_file: Word | None = None
    """File whose first line is the password."""
    timeout_s: Patience = 20.0

    @model_validator(mode="after")
    def _password_is_safe(self) -> Self:
        sources = (self.password_env is not None) + (self.password_file is not None)
        if sources != (self.user is not None):
            raise ValueError("user goes with exactly one of password_env and password_file")
        if self.user is not None and self.security == "none":
            raise ValueError('a password needs security "starttls" or "tls"')
        return self

    def password(self) -> str:
        """Return the password; raises InputError where its source has none."""
        if self.password_env is not None:
            found = os.environ.get(self.password_env, "")
        else:
            lines = Path(self.password_file or "").read_text(encoding="utf-8").splitlines()
            found = lines[0] if lines else ""
        if not found:
            source = self.password_env or self.password_file
            raise InputError(f"notify: no password in {source}; set it")
        return found

    def check(self) -> None:
        """Raise InputError where the password could not be had when it is needed."""
        if self.user is None:
            return
        try:
            self.password()
        except OSError as error:
            raise InputError(
                f"notify: password_file {self.password_file}: {error.strerror}"
            ) from error


class CommandSettings(Described):
    """A program to run: the notice stands in its environment, and as JSON on its input."""

    run: Annotated[tuple[Word, ...], Field(min_length=1, max_length=32)]
    """Program and arguments; no shell reads them."""
    timeout_s: Patience = 20.0


class NotifySettings(Described):
    """`[notify]` of the bench file; nothing is told unless `mail` or `command` is described."""

    events: tuple[Kind, ...] = KINDS
    mail: MailSettings | None = None
    command: CommandSettings | None = None


class Notifier:
    """Delivers notices in a thread of its own; `post` never waits and never raises."""

    def __init__(self, settings: NotifySettings) -> None:
        self._events = settings.events
        self._waiting = deque[Notice]()
        self._change = Condition()
        self._closing = False
        self._failed = 0
        self._failures = deque[str](maxlen=FAILURES_KEPT)
        self._ways = list[tuple[str, Callable[[Notice], None]]]()
        if settings.command is not None:
            self._ways.append(("command", partial(run_command, settings.command)))
        if settings.mail is not None:
            self._ways.append(("mail", partial(send_mail, settings.mail)))
        self._thread: Thread | None = None
        if self._ways:
            self._thread = Thread(target=self._deliver_all, name="notify", daemon=True)
            self._thread.start()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def post(self, notice: Notice) -> None:
        """Take a notice for delivery, if its kind is wanted and there is a way to deliver it."""
        if self._thread is None or notice.kind not in self._events:
            return
        with self._change:
            if self._closing or len(self._waiting) >= WAITING_MOST:
                self._note_failure(notice, f"not taken, {len(self._waiting)} already wait")
                return
            self._waiting.append(notice)
            self._change.notify_all()

    def close(self, patience_s: float = 60.0) -> None:
        """Let the waiting notices go out for `patience_s` at most, then give them up."""
        if self._thread is None:
            return
        with self._change:
            self._closing = True
            self._change.notify_all()
        self._thread.join(patience_s)
        with self._change:
            while self._waiting:
                self._note_failure(self._waiting.popleft(), "given up at the end of the run")

    def failures(self) -> tuple[str, ...]:
        """Return one line for each way a delivery failed, the last ones, and how many before."""
        with self._change:
            shown = tuple(self._failures)
            hidden = self._failed - len(shown)
        return (f"notify: {hidden} earlier failures not shown", *shown) if hidden else shown

    def _note_failure(self, notice: Notice, why: str) -> None:
        with self._change:
            self._failed += 1
            self._failures.append(f"notify: {notice.kind} of {notice.at} not delivered: {why}")

    def _deliver_all(self) -> None:
        while True:
            with self._change:
                self._change.wait_for(lambda: self._waiting or self._closing)
                if not self._waiting:
                    return
                notice = self._waiting.popleft()
            for name, deliver in self._ways:
                try:
                    deliver(notice)
                except Exception as error:  # the last line of defence: a night goes on
                    reason = " ".join(f"{type(error).__name__}: {error}".split())
                    self._note_failure(notice, f"{name}: {reason[:200]}")


def run_command(settings: CommandSettings, notice: Notice) -> None:
    """Run the program with the notice; raises where it fails, or is killed after its time."""
    told = {f"PROOFBATH_{name.upper()}": value for name, value in notice._asdict().items()}
    try:
        done = subprocess.run(
            settings.run,
            input=json.dumps(notice._asdict(), ensure_ascii=False).encode(),
            env=os.environ | told,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            timeout=settings.timeout_s,
            check=False,
        )
    except subprocess.TimeoutExpired:  # its text would show the arguments
        raise InputError(f"{settings.run[0]} killed after {settings.timeout_s:g} s") from None
    if done.returncode != 0:
        raise InputError(f"{settings.run[0]} ended with status {done.returncode}")


def send_mail(settings: MailSettings, notice: Notice) -> None:
    """Send the notice to every address; raises where the server takes it for fewer."""
    message = _message(settings, notice)
    with _connected(settings) as server:
        if settings.user is not None:
            server.login(settings.user, settings.password())
        refused = server.send_message(message)
    if refused:
        raise InputError(f"refused for {', '.join(refused)}")


def _connected(settings: MailSettings) -> smtplib.SMTP:
    if settings.security == "tls":
        context = ssl.create_default_context(cafile=settings.ca_file)
        return smtplib.SMTP_SSL(
            settings.host, settings.port, timeout=settings.timeout_s, context=context
        )
    server = smtplib.SMTP(settings.host, settings.port, timeout=settings.timeout_s)
    if settings.security == "starttls":
        try:
            server.starttls(context=ssl.create_default_context(cafile=settings.ca_file))
        except BaseException:
            server.close()
            raise
    return server


def _message(settings: MailSettings, notice: Notice) -> EmailMessage:
    message = EmailMessage()
    message["From"] = settings.sender
    message["To"] = ", ".join(settings.to)
    message["Subject"] = " ".join(f"proofbath {notice.bench}: {notice.kind}".split())
    message["Date"] = format_datetime(datetime.fromisoformat(notice.at))
    message["Message-ID"] = make_msgid(domain=settings.sender.partition("@")[2])
    message.set_content(
        f"{notice.text}\n\nbench {notice.bench}\nrun {notice.run}\nat {notice.at}\n"
        "\nNo answer reaches the bench. Stop it at the bench or with proofbath.\n"
    )
    return message
