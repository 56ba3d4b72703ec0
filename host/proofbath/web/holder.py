"""Who holds a bench: one person plans, starts, pauses and finishes; everybody may look and stop."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from proofbath.errors import InputError

IDLE_S = 900.0
"""A bench whose holder did nothing for so long may be taken by the next."""


class Hold(NamedTuple):
    """Who holds a bench, and when that person last did something at it, by a monotonic clock."""

    person: str
    seen_s: float


class Begun(NamedTuple):
    """A run that is under way, and who started it, as the records tell."""

    run_id: int
    person: str


Recall = Callable[[str], Begun | None]
"""Tells which run of a bench is under way, and who started it; None for neither."""


class Holders:
    """The holders of all benches, kept in the process; a run under way tells who holds its bench.

    So pages that were started again, and a night begun at the keyboard, have their holder.  Each
    run is asked for only once: who left a bench has left it.
    """

    def __init__(self, recall: Recall = lambda _: None) -> None:
        self._holds: dict[str, Hold] = {}
        self._recall = recall
        self._recalled: dict[str, int] = {}

    def of(self, bench: str, now_s: float) -> Hold | None:
        """Return who holds a bench."""
        if bench not in self._holds:
            begun = self._recall(bench)
            if begun is not None and self._recalled.get(bench) != begun.run_id:
                self._recalled[bench] = begun.run_id
                self._holds[bench] = Hold(begun.person, now_s)
        return self._holds.get(bench)

    def may_take(self, bench: str, person: str, now_s: float) -> None:
        """Refuse a person while somebody else is at the bench; raises InputError."""
        hold = self.of(bench, now_s)
        if hold is None or hold.person == person or now_s - hold.seen_s >= IDLE_S:
            return
        idle_min = (now_s - hold.seen_s) / 60
        raise InputError(
            f"bench {bench}: held by {hold.person}, last active {idle_min:.0f} min ago, free "
            f"after {IDLE_S / 60:.0f} min; ask {hold.person} to hand it over"
        )

    def take(self, bench: str, person: str, now_s: float, *, administrator: bool = False) -> str:
        """Give a bench to a person; return what happened, empty when it was theirs already.

        Raises InputError while somebody else is at it; an administrator takes it all the same.
        """
        hold = self.of(bench, now_s)
        if not administrator:
            self.may_take(bench, person, now_s)
        self._holds[bench] = Hold(person, now_s)
        if hold is None:
            return f"{person} takes the bench"
        if hold.person == person:
            return ""
        idle_s = now_s - hold.seen_s
        if idle_s >= IDLE_S:
            return f"{person} takes the bench from {hold.person}, idle for {idle_s / 60:.0f} min"
        return f"{person} takes the bench from {hold.person} as administrator"

    def check(self, bench: str, person: str, now_s: float) -> None:
        """Refuse a person who does not hold the bench; the holder counts as active now."""
        hold = self.of(bench, now_s)
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
        begun = self._recall(bench)
        if begun is not None:
            self._recalled[bench] = begun.run_id
        del self._holds[bench]
        return f"{person} leaves the bench"
