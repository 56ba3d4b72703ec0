"""What a person does with a unit next, in one line."""

from __future__ import annotations

from collections.abc import Sequence

from proofbath.proof.decision import Outcome
from proofbath.proof.verdict import Verdict
from proofbath.store.kinds import TypeVersion
from proofbath.workshop.story import UnitStory

REWORK = "rework: see proofbath rework"
FAILED = "give it back: it was failed"


def unmeasured_step(story: UnitStory) -> str:
    """Return what comes next for a unit that was not measured as it is now."""
    if not story.intake.entry.accepted:
        return "give it back: it was refused at intake"
    if story.moved_to is not None:
        return f"go on in {story.moved_to}"
    if story.ruined is not None:
        return FAILED
    return "measure as left" if story.reworked else "measure as found"


def measured_step(
    story: UnitStory,
    version: TypeVersion,
    verdict: Verdict,
    refused: str | None,
    blocks: Sequence[str],
) -> str:
    """Return what comes next for a measured unit.

    `refused` is why its verdict bears no certificate, `blocks` what else stands against one.
    """
    if story.certificate is not None:
        return f"hand over with certificate {story.certificate}"
    if refused is None:
        return f"clear first: {blocks[0]}" if blocks else "certify"
    sealed = version.rework_kind is not None and version.rework_kind.kind == "sealed"
    if verdict.outcome in (Outcome.FAIL, Outcome.CONDITIONAL_FAIL):
        return "fail it and give it back: its element is sealed" if sealed else REWORK
    if verdict.outcome is Outcome.CONDITIONAL_PASS:
        return "ask the customer" if sealed else f"ask the customer, or {REWORK}"
    if verdict.outcome is Outcome.UNSET:
        return "find what spoilt the measurement and retest, or fail it"
    return "measure better, or in the form the specification states"
