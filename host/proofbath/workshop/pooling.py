"""What a bench's study and earlier nights teach a night's budget: repeatability, lag, shift."""

from __future__ import annotations

import math
from collections.abc import Sequence

from proofbath.curve.bench_budget import BenchBudget
from proofbath.curve.pool import pooled
from proofbath.curve.result import CurveResult
from proofbath.store.kinds import Result
from proofbath.store.records import RecordsReader
from proofbath.workshop.bench_study import budget_from_study
from proofbath.workshop.contents import content_of

POOLED = ("repeatability_k", "lag_s", "shift_k_per_w")


def budget_for(
    records: RecordsReader,
    budget: BenchBudget | None,
    bench_name: str,
    unit_type: str,
    profile: str,
    tonight: Sequence[CurveResult],
) -> BenchBudget | None:
    """Return a bench's budget with what is on record of the type under a profile, and of tonight.

    Of pooled repeatability and the bench file's the one with more degrees of freedom counts; the
    newest study of the bench goes before both. A bench without a budget stays without.
    """
    if budget is None:
        return None
    earlier = (content_of(kept) for kept in records.current(Result))
    alike = [c.curve for c in earlier if (c.unit_type, c.profile) == (unit_type, profile)]
    learnt = pooled(budget, [*alike, *tonight])
    if budget.repeatability_k is not None and _freedom(learnt) < _freedom(budget):
        own = {name: getattr(budget, name) for name in ("repeatability_k", "repeatability_dof")}
        learnt = learnt.model_copy(update=own)
    studied = budget_from_study(records, bench_name) or {}
    return BenchBudget.model_validate(learnt.model_dump() | studied)


def _freedom(budget: BenchBudget) -> float:
    return math.inf if budget.repeatability_dof is None else budget.repeatability_dof
