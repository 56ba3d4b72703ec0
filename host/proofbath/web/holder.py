"""Who holds a bench: one person plans, starts, pauses and finishes; everybody may look and stop."""

from __future__ import annotations

from typing import NamedTuple

from proofbath.errors import InputError

IDLE_S = 900.0
"""A bench whose holder did nothing for so long may be taken by the next."""


class Hold(NamedTuple):
    """Who holds a bench, and when that person last did something at it, by a monotonic clock."""

    person: str
    seen_s: float


class Holders:
    """The holders of all benches; kept in the process, forgotten with it."""

    def __init__(self) -> None:
        self._holds: dict[str, Hold] = {}

    def of(self, bench: str) -> Hold | None:
        """Return who holds a bench."""
        return self._holds.get(bench)

    def take(self, bench: str, person: str, now_s: float, *, administrator: bool = False) -> str:
        """Give a bench to a person; return what happened, empty when it was theirs already.

        Raises InputError while somebody else is at it; an administrator takes it all the same.
        """
        hold = self._holds.get(bench)
        self._holds[bench] = Hold(person, now_s)
        if hold is None:
            return f"{person} takes the bench"
        if hold.person == person:
            return ""
        idle_s = now_s - hold.seen_s
        if idle_s >= IDLE_S:
            return f"{person} takes the bench from {hold.person}, idle for {idle_s / 60:.0f} min"
        if administrator:
            return f"{person} takes the bench from {hold.person} as administrator"
        self._holds[bench] = hold
        raise InputError(
            f"bench {bench}: held by {hold.person}, last active {idle_s / 60:.0f} min ago, free "
            f"after {IDLE_S / 60:.0f} min; ask {hold.person} to hand it over"
        )

    def check(self, bench: str, person: str, now_s: float) -> None:
        """Refuse a person who does not hold the bench; the holder counts as active now."""
        hold = self._holds.get(bench)
        if hold is None:
            raise InputError(f"bench {bench}: nobody holds it; take it first")
        if hold.person != person:
            raise InputError(
                f"bench {bench}: held by {hold.person}; ask {hold.person} to hand it over"
            )
        self._holds[bench] = Hold(person, now_s)

    def hand_over(self, bench: str, person: str, to: str, now_s: float) -> str:
        """Let the holder give the bench to somebody else; return what happened."""
        self.check(bench, person, now_s)
        self._holds[bench] = Hold(to, now_s)
        return f"{person} hands the bench over to {to}"

    def let_go(self, bench: str, person: str, now_s: float) -> str:
        """Let the holder leave the bench to whoever comes; return what happened."""
        self.check(bench, person, now_s)
        del self._holds[bench]
        return f"{person} leaves the bench"
