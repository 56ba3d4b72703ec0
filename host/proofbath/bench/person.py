"""Who stands at the bench while it is loaded or proven: told what to do, asked what they see."""

from __future__ import annotations

from typing import NamedTuple, Protocol

CONTACTOR_DROPPED = "Did the contactor drop out within 4 s?"
TRY_AGAIN = "Try again?"
"""The questions that one who plays a person answers otherwise than by yes."""


class Act(NamedTuple):
    """Something done by hand; `name` is for whoever plays the person, `text` for people."""

    name: str
    text: str
    station: int = 0
    """0 where it is done to the whole bench."""


class Person(Protocol):
    """A person, by keyboard and screen, or one played on the virtual bench."""

    def tell(self, text: str) -> None:
        """Show a line."""

    def wait(self, text: str) -> None:
        """Show what comes next and return when the person is ready for it."""

    def act(self, act: Act) -> None:
        """Say what is to be done now, without waiting: the bench is watched meanwhile."""

    def agrees(self, question: str) -> bool:
        """Return the answer to a question of yes or no."""

    def reads(self, what: str, wanted: str) -> str:
        """Return what is scanned or typed for `what`; one who plays may answer what is wanted."""
