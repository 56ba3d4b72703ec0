"""Going on with a run that was broken off: at which leg, as far as physics allows."""

from __future__ import annotations

from typing import NamedTuple

from proofbath.run.branch import SPOILING_K
from proofbath.run.profile import Energise, Hold, Leg, PowerRamp, Ramp, Soak


class ResumePoint(NamedTuple):
    """Where a run goes on, and what to tell of it."""

    first: int
    """Leg to begin with, for `Sequencer`."""
    text: str
    spoiled: bool
    """Whether what was recorded of the cycle so far is of no use."""


def resume_point(
    legs: tuple[Leg, ...], broken_leg: int, last_bath_c: float, bath_c: float
) -> ResumePoint:
    """Return where to go on with a run whose leg `broken_leg` was under way at `last_bath_c`.

    A branch that the bath has not left goes on; one it has left is recorded anew from its
    cycle's first leg, for the units have turned round.  A soak or a cool-down just goes on.
    """
    leg = legs[broken_leg]
    number = f"step {broken_leg + 1}"
    moved_k = bath_c - last_bath_c
    if isinstance(leg.step, Soak) or leg.step.purpose == "cool-down":
        return ResumePoint(broken_leg, f"goes on with {number}", False)
    if isinstance(leg.step, Ramp) and not _rising(legs, broken_leg):
        if moved_k < SPOILING_K:
            return ResumePoint(broken_leg, f"goes on with {number}, still falling", False)
    elif isinstance(leg.step, (Ramp, Hold)) and abs(moved_k) < SPOILING_K:
        return ResumePoint(broken_leg, f"goes on with {number}, the bath is where it was", False)
    first = next(i for i, other in enumerate(legs) if other.step.cycle == leg.step.cycle)
    why = (
        "elements were off"
        if isinstance(leg.step, (Energise, PowerRamp))
        else (f"the bath moved by {moved_k:+.1f} K")
    )
    text = f"{why}: cycle {leg.step.cycle} begins anew with step {first + 1}"
    return ResumePoint(first, text, True)


def _rising(legs: tuple[Leg, ...], index: int) -> bool:
    return index == 0 or legs[index].to_c > legs[index - 1].to_c
