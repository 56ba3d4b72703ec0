"""What keeps a unit that was opened out of the bath: its closure, its heater's insulation."""

from __future__ import annotations

from collections.abc import Sequence

from proofbath.proof.rework_kind import Refillable, Rework
from proofbath.store import kinds
from proofbath.store.records import RecordsReader
from proofbath.workshop.intake import newest_type
from proofbath.workshop.story import UnitStory

LEAST_INSULATION_MOHM = 1.0
"""Of a heater against its case, cold and dry (common practice, no source)."""


def closure_faults(records: RecordsReader, stories: Sequence[UnitStory]) -> list[str]:
    """Return why a unit may not be heated as it was closed last, one line each; none: it may."""
    done = _opened_since_measured(stories)
    if done is None:
        return []
    faults, left = list[str](), openings_left(records, stories)
    if left is not None and left < 0:
        faults.append(
            f"its closure was opened {_times(-left)} more often than it bears and may let hot wax"
            " out; close it with a new lip or seal and correct its rework with the openings that"
            " has left, or fail it"
        )
    if _type_of(records, stories[-1]).unit_type.element_ohm is not None:
        found = done.act.insulation_mohm if done.act else None
        if found is None:
            faults.append(
                f"was opened on {done.date} and its heater's insulation was not measured since;"
                " measure it cold and dry, its supply unplugged, and correct its rework with it"
            )
        elif found < LEAST_INSULATION_MOHM:
            faults.append(
                f"its heater has {found:g} MΩ against the case, at least"
                f" {LEAST_INSULATION_MOHM:g} is wanted; dry it and measure again, or fail it"
            )
    return faults


def openings_left(records: RecordsReader, stories: Sequence[UnitStory]) -> int | None:
    """Return how often a unit's closure may still be opened, by all its stories.

    Negative where it was opened more often than it bears, None where its type does not open.
    What a rework says is left goes before counting.
    """
    kind = kind_of(records, _type_of(records, stories[-1]))
    if not isinstance(kind, Refillable):
        return None
    left = kind.openings
    for rework in _reworks(stories):
        if not _was_opened(rework):
            continue
        said = rework.act.openings_left if rework.act is not None else None
        left = left - 1 if said is None else said
    return left


def kind_of(records: RecordsReader, version: kinds.TypeVersion) -> Rework | None:
    """Return how units of a type are reworked: as frozen, else as its newest version says."""
    return version.rework_kind or newest_type(records, version.name).entry.rework_kind


def _opened_since_measured(stories: Sequence[UnitStory]) -> kinds.Rework | None:
    """Return the last rework that opened a unit and was not measured since."""
    last = None
    for story in stories:
        for step in story.steps:
            if step.rework is not None and _was_opened(step.rework.entry):
                last = step.rework.entry
            elif step.result is not None:
                last = None
    return last


def _reworks(stories: Sequence[UnitStory]) -> list[kinds.Rework]:
    return [step.rework.entry for story in stories for step in story.steps if step.rework]


def _was_opened(rework: kinds.Rework) -> bool:
    return rework.kind == "wax" if rework.act is None else rework.act.opened


def _type_of(records: RecordsReader, story: UnitStory) -> kinds.TypeVersion:
    return records.one(kinds.TypeVersion, story.batch.entry.type_version_id).entry


def _times(number: int) -> str:
    return "once" if number == 1 else f"{number} times"
