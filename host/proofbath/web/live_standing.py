"""How a bench stands, in a word for its chip and a sentence for people; never a guess."""

from __future__ import annotations

import math
from typing import Literal, NamedTuple

from proofbath.run.doing import Doing
from proofbath.store.journal import OPEN
from proofbath.web.live_chunks import RunState
from proofbath.web.present import Process, Seen

Sign = Literal["good", "warn", "bad", "wait", "plain"]
Word = Literal["running", "stale", "lost", "busy", "starting", "refused", "ended", "idle"]
BEFORE_HEAT = frozenset({Doing.WAITING.value, Doing.STIRRING.value})
ENDS: dict[str, tuple[Sign, str]] = {
    "done": ("plain", "off, the run is done"),
    "stopped": ("warn", "stopped"),
    "tripped": ("bad", "tripped"),
    "lost": ("bad", "lost its controller"),
    "failed": ("bad", "failed"),
    "killed": ("bad", "cut off"),
}
"""What a bench's chip says by how its newest run ended."""


class Standing(NamedTuple):
    """How a bench stands: a word for programs, what the machine does, a sentence for people."""

    word: Word
    sign: Sign
    doing: str
    words: str


def standing(run: RunState | None, shown: Seen, process: Process | None, ours: bool) -> Standing:
    """Return how a bench stands by its newest run and by what holds it.

    `shown` is the run's newest sample, `ours` says that the process carries the run.
    """
    if process is not None and not ours and (process.tells or process.pid is not None):
        return _busy(process)
    if run is None or run.status != OPEN:
        if process is not None and not ours:
            words = "A run is being started: the bench is checked before heat."
            return Standing("starting", "wait", "being checked before heat", words)
        return _at_rest(run, process)
    if shown.present:
        return _running(process)
    if process is None:
        return Standing("lost", "bad", "not known", LOST)
    age = f"for {shown.age_s:.0f} s" if math.isfinite(shown.age_s) else "so far"
    words = f"No new data {age}: what the machine does is not known. Look at the bench itself."
    return Standing("stale", "bad", "not known", words)


LOST = (
    "The process that ran this bench is gone, nothing controls it now. The controller "
    "has switched everything off by itself when its lease ran out. Look at the bench; "
    "then go on with: proofbath resume."
)


def _busy(process: Process) -> Standing:
    if process.tells:
        words = "Another program runs this bench; its record is kept elsewhere."
        return Standing("busy", "warn", f"{_doing(process)[1]}, by another program", words)
    words = (
        f"Another program of this computer, process {process.pid}, uses this bench and does not "
        "say what it does: it may heat. Look at the bench itself."
    )
    return Standing("busy", "warn", "used by another program", words)


def _running(process: Process | None) -> Standing:
    if process is None or not process.tells:
        return Standing("running", "good", "running", "")
    return Standing("running", *_doing(process), "")


def _doing(process: Process) -> tuple[Sign, str]:
    doing = str(process.answer["doing"])
    if doing == Doing.PAUSED.value:
        for_min, of_min = (process.answer[k] / 60 for k in ("paused_s", "pause_limit_s"))
        return "warn", f"paused {for_min:.0f} of {of_min:.0f} min"
    return "wait" if doing in BEFORE_HEAT else "good", doing


def _at_rest(run: RunState | None, process: Process | None) -> Standing:
    if run is None:
        return Standing("idle", "plain", "no run yet", "No run on this bench yet.")
    sign, doing = ENDS.get(run.status, ("bad", run.status))
    reason = f": {run.reason}".replace("_", " ") if run.reason else ""
    ended = f"The last run has ended, {run.status}{reason}."
    if process is not None:
        return Standing("ended", sign, doing, f"{ended} Its process still watches the bench.")
    return Standing("ended", sign, doing, f"{ended} {SCALDS}")


SCALDS = "How warm the bath is now, nobody measures: it scalds until it is seen to be below 45 °C."
