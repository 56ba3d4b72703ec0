"""A result on record judged by its batch's frozen specification, and the decision to keep."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from proofbath.curve.content import ResultContent
from proofbath.proof.decision import Decision as LimitDecision
from proofbath.proof.decision import Outcome
from proofbath.proof.specification import Specification
from proofbath.proof.verdict import Verdict, judge, statement
from proofbath.quantity.levels import OPENING
from proofbath.quantity.quantity import Quantity
from proofbath.store.kinds import Decision, Result
from proofbath.store.records import Kept
from proofbath.wire.watches import UNFED
from proofbath.workshop.contents import content_of
from proofbath.workshop.measured_values import STARTS
from proofbath.workshop.story import UnitStory

RESULT_ROW = "result_row"
"""Names in a decision's content the row of the result that was judged: a correction is another."""


def verdict_on(specification: Specification, result: Kept[Result]) -> Verdict:
    """Return the verdict on a result on record."""
    content = content_of(result)
    unfed = [w.text for w in content.curve.warnings if w.code in UNFED]
    every = [one for one in content.each() if one.name != OPENING or _is_asked(specification, one)]
    verdict = judge(specification, every, why_missing="; ".join(unfed))
    decisions = tuple(_later_than_ordered(each, content) for each in verdict.decisions)
    return replace(verdict, decisions=decisions)


def _is_asked(specification: Specification, level: Quantity) -> bool:
    """Tell whether a level of the curve is one that is judged: of the others no limit speaks."""
    return any(limit.unlike(level) is None for limit in specification.of(OPENING))


def _later_than_ordered(decision: LimitDecision, content: ResultContent) -> LimitDecision:
    """Return a lift that no bath showed as failed where the unit passes a smaller one too late."""
    limit, upper = decision.limit, decision.limit.bounds[1]
    if decision.outcome is not Outcome.UNSET or limit.quantity != OPENING or upper is None:
        return decision
    starts = [content.curve.quantities[name] for name in STARTS if name in content.curve.quantities]
    for smaller in (*starts, *content.curve.series.get(OPENING, ())):
        lift_mm, wanted_mm = smaller.threshold_mm, limit.threshold_mm
        if smaller.value is None or lift_mm is None or wanted_mm is None or lift_mm >= wanted_mm:
            continue
        if smaller.value - (smaller.expanded_uncertainty or 0.0) > upper:
            reason = (
                f"it is {lift_mm:g} mm open at {smaller.value:.1f} °C only, and shall be"
                f" {wanted_mm:g} mm open by {upper:g} °C"
            )
            return replace(decision, outcome=Outcome.FAIL, reason=reason, measured=None)
    return decision


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
