"""The verdict of a unit over all its limits, what may be certified, and when to measure again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

from proofbath.proof.decision import Decision, Outcome, decide, probability_in_words
from proofbath.proof.specification import Limit, Rule, Specification
from proofbath.quantity.quantity import Quantity

_WORST_FIRST = (
    Outcome.FAIL,
    Outcome.CONDITIONAL_FAIL,
    Outcome.INVALID,
    Outcome.UNSET,
    Outcome.CONDITIONAL_PASS,
    Outcome.PASS,
)


@dataclass(frozen=True)
class Verdict:
    """A unit judged by its whole specification: the worst of its decisions counts."""

    specification: Specification
    decisions: tuple[Decision, ...]

    @property
    def outcome(self) -> Outcome:
        """The worst outcome; a failed quantity fails the unit whatever else is missing."""
        found = {decision.outcome for decision in self.decisions}
        return next(outcome for outcome in _WORST_FIRST if outcome in found)

    @property
    def probability_at_least(self) -> float | None:
        """Lower bound of the chance that all quantities conform (Bonferroni); None if unjudged."""
        chances = [d.probability for d in self.decisions if d.probability is not None]
        if len(chances) < len(self.decisions):
            return None
        return max(0.0, 1.0 - sum(1.0 - chance for chance in chances))

    @property
    def reasons(self) -> tuple[str, ...]:
        """What keeps the unit from a pass, one line a limit."""
        return tuple(
            f"{d.limit.called()}: {d.outcome.value}: {d.reason}"
            for d in self.decisions
            if d.outcome is not Outcome.PASS
        )


def judge(
    specification: Specification,
    results: Sequence[Quantity],
    rule: Rule | None = None,
    why_missing: str = "",
) -> Verdict:
    """Judge a unit's results by a specification; `rule` overrides the specification's own.

    Each limit takes the result of its own form. Where only other forms of the quantity exist, the
    first is refused with the reason; where none exists, the limit stays unset, with `why_missing`
    where that is known.
    """
    used = rule or specification.rule
    decisions = [
        decide(item, _fitting(item, results), used, why_missing) for item in specification.limit
    ]
    return Verdict(specification, tuple(decisions))


def _fitting(limit: Limit, results: Sequence[Quantity]) -> Quantity | None:
    same = [result for result in results if result.name == limit.quantity]
    like = [result for result in same if limit.unlike(result) is None]
    return next(iter(like or same), None)


_BEFORE_CHANCE = ": "


class Agreement(NamedTuple):
    """A customer's recorded agreement to take conditionally passed units."""

    customer: str
    record: str


def refuse_certificate(verdict: Verdict, agreement: Agreement | None = None) -> str | None:
    """Return why a unit gets no certificate and no label, or None where it does."""
    outcome = verdict.outcome
    if outcome is Outcome.PASS:
        return None
    if outcome is Outcome.CONDITIONAL_PASS:
        if agreement and agreement.customer.strip() and agreement.record.strip():
            return None
        return "conditional pass: needs the customer's recorded agreement"
    if outcome in (Outcome.FAIL, Outcome.CONDITIONAL_FAIL):
        return f"{verdict.reasons[0]}; see the rework advice"
    return verdict.reasons[0]


def statement(verdict: Verdict) -> str:
    """Return the sentence on conformity that a certificate prints for a unit."""
    chance = verdict.probability_at_least
    words = f"{_BEFORE_CHANCE}{probability_in_words(chance)}" if chance is not None else ""
    return f"{verdict.outcome.value}{words}"


def chance_in(stated: str, outcome: Outcome) -> str:
    """Return what a statement of this outcome says of the chance; empty where it says nothing."""
    return stated[len(outcome.value) + len(_BEFORE_CHANCE) :]


class RetestCause(StrEnum):
    """What can spoil a measurement. That a value is out of its limits is none."""

    BUBBLES = "bubbles under plate or gauge"
    GAUGE = "gauge sticking or faulty"
    MOUNTING = "unit wrongly mounted"
    TRIP = "run ended by a trip or a power cut"
    CHART = "reference unit or probes out of control"
    BATH = "bath not stirred or not uniform"


class Attempt(NamedTuple):
    """One run of a unit in one state (as found, or since its last rework)."""

    run: str
    retest_cause: RetestCause | None = None
    cause_record: str = ""


def refuse_retest(earlier: Sequence[Attempt], asked: Attempt) -> str | None:
    """Return why a unit may not be measured once more in its present state; None where it may.

    One retest, only for a recorded cause; its result counts, both stay on record.
    """
    if not earlier:
        return None
    if len(earlier) > 1:
        return "already retested once: rework the unit or fail it; no testing until pass"
    if asked.retest_cause is None or not asked.cause_record.strip():
        return "a retest needs a recorded cause in the measurement, not in its result"
    return None
