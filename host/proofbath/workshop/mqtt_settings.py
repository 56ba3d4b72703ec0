"""How the bench is told to the shop's broker: section `[mqtt]` of the workshop's file."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Annotated, Self

from pydantic import Field, model_validator

from proofbath.description import Described
from proofbath.errors import InputError
from proofbath.files import read_text

Word = Annotated[str, Field(min_length=1, max_length=255)]
Prefix = Annotated[str, Field(pattern=r"^[A-Za-z0-9_-]+(/[A-Za-z0-9_-]+)*$", max_length=100)]
_LOCAL = frozenset({"localhost", "127.0.0.1", "::1"})


class MqttSettings(Described):
    """The broker and what it is told; nothing is ever taken from it."""

    host: Word
    """Name or address of the broker."""
    port: Annotated[int, Field(ge=1, le=65535)] | None = None
    """8883 with `tls`, else 1883, where it is left out."""
    prefix: Prefix = "proofbath"
    """First part of every topic."""
    tls: bool = False
    """Speak TLS and check the broker's certificate and name."""
    ca_file: Word | None = None
    """Certificate of the authority that vouches for the broker, where the system knows none."""
    cert_file: Word | None = None
    """This side's own certificate, where the broker asks for one."""
    key_file: Word | None = None
    """Key of `cert_file`, without a passphrase."""
    user: Word | None = None
    """Name to sign in with."""
    password_env: Word | None = None
    """Environment variable that holds the password."""
    password_file: Word | None = None
    """File whose first line is the password."""
    password_in_clear: bool = False
    """Allow a password without `tls` to a broker that is not on this computer."""
    benches: tuple[Word, ...] = ()
    """Names of the benches to tell of; all of the workshop's file where none is named."""
    sample_every_s: Annotated[float, Field(ge=0.0, le=3600.0)] = 1.0
    """Each sample message is the mean over so long on the controller's clock; 0 sends none."""
    state_every_s: Annotated[float, Field(ge=1.0, le=600.0)] = 10.0
    """The state is told so often though nothing has changed."""
    keep_samples: Annotated[int, Field(ge=1, le=1_000_000)] = 7200
    """Sample messages kept for each bench while the broker is away; then the oldest are dropped."""
    keep_events: Annotated[int, Field(ge=1, le=1_000_000)] = 5000
    """Event and result messages kept for each bench while the broker is away, as above."""
    keepalive_s: Annotated[int, Field(ge=5, le=600)] = 20
    """The broker declares a bench offline when it heard nothing for one and a half times this."""
    retry_at_most_s: Annotated[float, Field(ge=0.1, le=600.0)] = 30.0
    """A broker that is away is tried again after 1 s, 2 s, 4 s and so on up to this."""

    @model_validator(mode="after")
    def _password_is_safe(self) -> Self:
        sources = (self.password_env is not None) + (self.password_file is not None)
        if sources != (self.user is not None):
            raise ValueError("user goes with exactly one of password_env and password_file")
        if self.user and not (self.tls or self.password_in_clear or self.host in _LOCAL):
            raise ValueError("a password needs tls = true, or password_in_clear = true")
        return self

    @model_validator(mode="after")
    def _certificates_go_with_tls(self) -> Self:
        if not self.tls and (self.ca_file or self.cert_file):
            raise ValueError("ca_file and cert_file need tls = true")
        if (self.cert_file is None) != (self.key_file is None):
            raise ValueError("cert_file and key_file go together")
        return self

    def broker_port(self) -> int:
        """Return the port in force."""
        return self.port or (8883 if self.tls else 1883)

    def password(self, folder: Path) -> str | None:
        """Return the password, files relative to `folder`; raises InputError where none is."""
        if self.password_env is not None:
            found, source = os.environ.get(self.password_env, ""), self.password_env
        elif self.password_file is not None:
            found, _, _ = read_text(folder / self.password_file).partition("\n")
            source = self.password_file
        else:
            return None
        if not found.strip():
            raise InputError(f"mqtt: no password in {source}; set it")
        return found.rstrip("\r")
