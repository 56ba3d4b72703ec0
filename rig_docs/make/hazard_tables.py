"""The book's tables of hazards, guards, trips, station flags and alarms, from their definitions."""

from __future__ import annotations

from collections.abc import Iterable

from page_table import table

from proofbath.wire.guards import GUARDS
from proofbath.wire.hazard_rows import HAZARDS, label, proofs_of
from proofbath.wire.hazards import Eye, Guard, Harm, Hazard, Wired
from proofbath.wire.table import RefusedReason, StationFlag, StopReason, TripReason
from proofbath.wire.trip_words import END_WORDS, FLAG_WORDS, STOP_WORDS, TRIP_WORDS
from proofbath.wire.watches import BEHIND, Before, Watch

NOTHING = "—"
_COLUMNS: tuple[tuple[type, ...], ...] = (
    (TripReason, StopReason, StationFlag, RefusedReason),
    (Watch, Before),
    (Wired,),
)
"""Who sees it: controller, host, what is wired."""


def _named(eyes: Iterable[Eye]) -> str:
    return ", ".join(map(label, eyes)) or NOTHING


def _code(eye: Eye) -> str:
    return f"`{(eye.name or '').lower()}`"


def _hazard(hazard: Hazard) -> tuple[str, ...]:
    layers = hazard.layers
    seen = [_named(e for e in layers if isinstance(e, kinds)) for kinds in _COLUMNS]
    proofs = ", ".join(proofs_of(hazard)) or NOTHING
    return (f"**{hazard.name}**: {hazard.cause}", *seen, proofs, hazard.left)


def hazards() -> str:
    """Return the hazards by what is at stake, with their layers in order."""
    head = ("hazard: cause", "controller", "host", "wired", "proven by", "left when all that fails")
    parts = []
    for harm in Harm:
        rows = [_hazard(hazard) for hazard in HAZARDS if hazard.harm is harm]
        parts += [f"### {harm.value}\n", table(head, rows), ""]
    return "\n".join(parts).rstrip()


def _guard(guard: Guard) -> tuple[str, ...]:
    within = guard.within or NOTHING
    return (label(guard.by), guard.level, within, guard.reaction.value, guard.latent.value)


def guards() -> str:
    """Return each guard's level, persistence, reaction, and how long it may be dead unseen."""
    rows = [_guard(guard) for guard in GUARDS if not isinstance(guard.by, (Watch, RefusedReason))]
    return table(("who sees it", "at", "after", "what follows", "dead unseen until"), rows)


def trips() -> str:
    """Return what each trip means, what to look for, and what lifts it."""
    rows = [
        (_code(reason), words.what, words.remedy, words.clears.value)
        for reason, words in TRIP_WORDS.items()
    ]
    return table(("reason", "what it means", "what to do", "clears"), rows)


def stops() -> str:
    """Return what each stop without a latch means."""
    rows = [(_code(r), w.what, w.remedy) for r, w in STOP_WORDS.items()]
    return table(("stop", "what it means", "what to do"), rows)


def flags() -> str:
    """Return what each flag of a station means."""
    rows = [(_code(flag), w.what, w.remedy) for flag, w in FLAG_WORDS.items()]
    return table(("flag", "what it means", "what to do"), rows)


def run_ends() -> str:
    """Return what each end of a run without a trip means."""
    rows = [(f"`{status}`", w.what, w.remedy) for status, w in END_WORDS.items()]
    return table(("what the run says at its end", "what happened", "what to do"), rows)


def repairs() -> str:
    """Return the sentence that names the trips at which heating on is no way out."""
    names = [_code(r) for r, words in TRIP_WORDS.items() if words.repair]
    return f"Stop there and call somebody at: {', '.join(names[:-1])} and {names[-1]}."


def _alarms(heading: str, watches: Iterable[Watch]) -> str:
    rows = [(f"`{w.pattern}`", w.value.remedy) for w in watches]
    return table((heading, "what to do"), rows)


def told() -> str:
    """Return the alarms with which a run goes on."""
    return _alarms("alarm", (w for w in Watch if not w.value.ends and w not in BEHIND))


def ended() -> str:
    """Return the alarms that end a run."""
    return _alarms("end", (w for w in Watch if w.value.ends))


def behind() -> str:
    """Return what is told behind the end of a run."""
    return _alarms("alarm", BEHIND)
