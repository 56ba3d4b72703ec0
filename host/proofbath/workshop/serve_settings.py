"""How the pages are served: section `[serve]` of the workshop's file."""

from __future__ import annotations

from typing import Annotated, Self

from pydantic import Field, model_validator

from proofbath.description import Described

LOOPBACK = ("127.0.0.1", "::1", "localhost")
Name = Annotated[str, Field(min_length=1, max_length=253, pattern=r"^[A-Za-z0-9.:_-]+$")]


class ServeSettings(Described):
    """Where the pages listen, and how access to them is kept."""

    host: Name = "127.0.0.1"
    """Address to listen on; anything but loopback needs TLS or a proxy, and people."""
    port: Annotated[int, Field(ge=1, le=65535)] = 8374
    certificate: Annotated[str, Field(min_length=1)] | None = None
    """PEM file of the certificate (with its chain) for TLS."""
    key: Annotated[str, Field(min_length=1)] | None = None
    """PEM file of the certificate's private key."""
    behind_proxy: bool = False
    """A proxy on `proxy_addresses` speaks TLS and says for whom it asks."""
    proxy_addresses: Annotated[tuple[Name, ...], Field(min_length=1)] = ("127.0.0.1",)
    trusted_hosts: tuple[Name, ...] = ()
    """Names by which the pages may be called, beside `host` and loopback."""
    session_idle_h: Annotated[float, Field(gt=0, le=168)] = 12.0
    session_longest_h: Annotated[float, Field(gt=0, le=744)] = 168.0
    metrics_token_file: Annotated[str, Field(min_length=1)] | None = None
    """File whose first line lets a program read /metrics and /health without signing in."""
    code_on_virtual_benches: bool = True
    """Whether starting a virtual bench needs the code of `proofbath bench code`; a real one always
    does. Left out, `serve --virtual` needs none."""
    max_body_bytes: Annotated[int, Field(ge=10_000, le=500_000_000)] = 8_000_000

    @model_validator(mode="after")
    def _fits(self) -> Self:
        if (self.certificate is None) != (self.key is None):
            raise ValueError("certificate and key belong together; name both or none")
        if self.certificate and self.behind_proxy:
            raise ValueError("certificate with behind_proxy: the proxy speaks TLS; name one")
        return self

    @property
    def loopback(self) -> bool:
        """Whether only this computer reaches the pages."""
        return self.host in LOOPBACK

    @property
    def secure(self) -> bool:
        """Whether the browser speaks TLS."""
        return self.certificate is not None or self.behind_proxy

    def names(self) -> frozenset[str]:
        """Return the names a request may call, in small letters and without port."""
        own = {self.host} - {"0.0.0.0", "::"}
        return frozenset(name.lower() for name in {*self.trusted_hosts, *LOOPBACK, *own})
