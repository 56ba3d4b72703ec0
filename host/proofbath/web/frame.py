"""What all requests share: the open workshop, access to it, and the clocks."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from starlette.requests import HTTPConnection

from proofbath.bench.clock import Clock
from proofbath.store.access import Access
from proofbath.web.limits import SignInDelays
from proofbath.web.password import Passwords
from proofbath.web.sessions import Sessions
from proofbath.workshop.shop import Shop


@dataclass(frozen=True)
class Frame:
    """Made once by `make_app`; `utc` tells the time as ISO 8601."""

    shop: Shop
    access: Access
    passwords: Passwords
    sessions: Sessions
    delays: SignInDelays
    utc: Callable[[], str]
    monotonic_s: Clock
    virtual_speed: float | None = None
    """How many times faster than life virtual benches run; None where there are none."""

    @property
    def cookie(self) -> str:
        """Name of the session's cookie; the prefix binds it to this host and to TLS."""
        return "__Host-proofbath" if self.shop.file.serve.secure else "proofbath"


def frame_of(connection: HTTPConnection) -> Frame:
    """Return what the requests of an application share."""
    frame: Frame = connection.app.state.frame
    return frame
