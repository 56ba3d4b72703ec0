"""What is asked before a rework goes on record: what may be right or a slip of the pen."""

from __future__ import annotations

import math

from proofbath.proof.rework_act import ReworkAct
from proofbath.store.kinds import Rework
from proofbath.workshop.rework_words import rework_in_words
from proofbath.workshop.story import UnitStory

USUAL_U_MASS_MG = 1.0
COVERAGE = 3.0
"""Masses that disagree by more than so many standard uncertainties are asked about."""


def questions_of(
    story: UnitStory, rework: Rework, openings_left: int | None, *, corrects: bool
) -> list[str]:
    """Return what is to be confirmed of a rework, one line each.

    `openings_left` is what the closure had left before it.
    """
    asked = list[str]()
    last = story.steps[-1].rework if story.steps else None
    if not corrects and last is not None and _same(last.entry, rework):
        asked.append(
            f"the same is on record since {last.at[:16].replace('T', ' ')} UTC"
            f" ({rework_in_words(last.entry)}) and was not measured since; was it done twice?"
        )
    act = rework.act
    if act is None:
        return asked
    none_left = openings_left is not None and openings_left <= 0
    if none_left and act.opened and act.openings_left is None and not corrects:
        asked.append(
            "its closure had no opening left, hot wax may come out in the bath; was it opened all"
            " the same? Say how many openings a new lip or seal has left, or it is not heated"
        )
    return [*asked, *_masses(act)]


def _same(before: Rework, now: Rework) -> bool:
    if (before.kind, before.date) != (now.kind, now.date):
        return False
    if now.act is None and now.amount is None:
        return before.text == now.text
    return (before.act, before.amount) == (now.act, now.amount)


def _masses(act: ReworkAct) -> list[str]:
    """Ask where the whole unit's mass did not change as what went out and in says."""
    if act.mass_before_mg is None or act.mass_after_mg is None:
        return []
    changed_mg = act.mass_after_mg - act.mass_before_mg
    put_mg = act.mass_in_mg - act.mass_out_mg
    weighed = 2 + (act.mass_in_mg > 0) + (act.mass_out_mg > 0)
    most_mg = COVERAGE * math.sqrt(weighed) * (act.u_mass_mg or USUAL_U_MASS_MG)
    if abs(changed_mg - put_mg) <= most_mg:
        return []
    return [
        f"the whole unit changed by {changed_mg:+.1f} mg, in less out is {put_mg:+.1f} mg; they may"
        f" differ by {most_mg:.1f} mg. Is every mass as the balance showed it? A new seal or lip"
        " weighs too"
    ]
