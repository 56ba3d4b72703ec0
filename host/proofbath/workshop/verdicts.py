"""A result on record judged by its batch's frozen specification, and the decision to keep."""

from __future__ import annotations

from typing import Any

from proofbath.proof.decision import Decision as LimitDecision
from proofbath.proof.specification import Specification
from proofbath.proof.verdict import Verdict, judge, statement
from proofbath.store.kinds import Decision, Result
from proofbath.store.records import Kept
from proofbath.wire.watches import UNFED
from proofbath.workshop.contents import content_of
from proofbath.workshop.story import UnitStory

RESULT_ROW = "result_row"
"""Names in a decision's content the row of the result that was judged: a correction is another."""


def verdict_on(specification: Specification, result: Kept[Result]) -> Verdict:
    """Return the verdict on a result on record."""
    content = content_of(result)
    unfed = [w.text for w in content.curve.warnings if w.code in UNFED]
    return judge(specification, list(content.each()), why_missing="; ".join(unfed))


def decision_on(story: UnitStory, result: Kept[Result], verdict: Verdict) -> Decision:
    """Return a verdict as it is put on record, with every limit."""
    return Decision(
        unit_id=story.unit.root,
        batch_id=story.batch.root,
        result_id=result.root,
        fingerprint=verdict.specification.fingerprint(),
        rule=verdict.specification.rule,
        outcome=verdict.outcome.value,
        probability=verdict.probability_at_least,
        content={
            RESULT_ROW: result.id,
            "statement": statement(verdict),
            "limits": [_limit(decision) for decision in verdict.decisions],
        },
    )


def _limit(decision: LimitDecision) -> dict[str, Any]:
    lower, upper = decision.limit.bounds
    measured = decision.measured
    return {
        "form": decision.limit.form(),
        "quantity": decision.limit.quantity,
        "lower": lower,
        "upper": upper,
        "acceptance_lower": decision.acceptance[0],
        "acceptance_upper": decision.acceptance[1],
        "guard_band": decision.guard_band,
        "value": measured.value if measured else None,
        "expanded_uncertainty": measured.expanded_uncertainty if measured else None,
        "outcome": decision.outcome.value,
        "reason": decision.reason,
        "probability": decision.probability,
    }
