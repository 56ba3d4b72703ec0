"""A port with the session on it: messages out, checked events in."""

from __future__ import annotations

from collections.abc import Callable

from proofbath.bench.port import Port
from proofbath.wire.line import encode
from proofbath.wire.session import Event, Sampled, Session
from proofbath.wire.table import FromHost

ASK_AGAIN_S = 0.5


class Link:
    """One conversation over one port."""

    def __init__(self, port: Port) -> None:
        self.port = port
        self.since_ms = 0
        """Added to the clock of every sample: where an earlier part of the run left off."""
        self._session = Session()

    def poll(self) -> list[Event]:
        """Return the events in what has arrived; raises PortLostError."""
        events = self._session.feed(self.port.read())
        if self.since_ms:
            return [
                e._replace(time_ms=e.time_ms + self.since_ms) if isinstance(e, Sampled) else e
                for e in events
            ]
        return events

    def send(self, message: FromHost) -> None:
        """Send one message; raises PortLostError."""
        self.port.write(encode(message))

    def ask(
        self, message: FromHost | None, answers: Callable[[Event], bool], patience_s: float
    ) -> Event | None:
        """Send until an event answers, again twice a second; None when patience ends."""
        began_s = asked_s = self.port.now_s()
        if message:
            self.send(message)
        while True:
            for event in self.poll():
                if answers(event):
                    return event
            now_s = self.port.now_s()
            if now_s - began_s >= patience_s:
                return None
            if message and now_s - asked_s >= ASK_AGAIN_S:
                self.send(message)
                asked_s = now_s
