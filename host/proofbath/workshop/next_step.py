"""What a person does with a unit next: decided here, said by each face in its own words."""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum
from typing import NamedTuple

from proofbath.proof.decision import Outcome
from proofbath.proof.trim_advice import TrimAction
from proofbath.proof.verdict import Verdict
from proofbath.run.plan import Stage
from proofbath.store.kinds import TypeVersion
from proofbath.workshop.advice import UnitAdvice, leads_on
from proofbath.workshop.story import UnitStory


class NextStep(StrEnum):
    """What is to be done with a unit; the value is its code for programs."""

    RETURN_REFUSED = "return_refused"
    RETURN_FAILED = "return_failed"
    GO_ON_IN_BATCH = "go_on_in_batch"
    MEASURE_AS_FOUND = "measure_as_found"
    MEASURE_AS_LEFT = "measure_as_left"
    MEASURE_AS_FOUND_COLDER = "measure_as_found_colder"
    MEASURE_AS_LEFT_COLDER = "measure_as_left_colder"
    MEASURE_BETTER = "measure_better"
    RETEST_OR_FAIL = "retest_or_fail"
    CLEAR_FIRST = "clear_first"
    CERTIFY = "certify"
    HAND_OVER = "hand_over"
    REPLACE_REMEASURED = "replace_remeasured"
    REPLACE_RECOMPUTED = "replace_recomputed"
    REWORK = "rework"
    ASK_CUSTOMER = "ask_customer"
    ASK_CUSTOMER_OR_REWORK = "ask_customer_or_rework"
    FAIL_SEALED = "fail_sealed"
    GIVE_UP = "give_up"


class Next(NamedTuple):
    """A step with the batch, the certificate, the reason or the advice that it is about."""

    step: NextStep
    about: str = ""

    @property
    def words(self) -> str:
        """The step as a line."""
        return WORDS[self.step].format(self.about)

    @property
    def stage(self) -> Stage | None:
        """The stage of the night that measures the unit; None where none is due."""
        return STAGES.get(self.step)


WORDS = {
    NextStep.RETURN_REFUSED: "give it back: it was refused at intake",
    NextStep.RETURN_FAILED: "give it back: it was failed",
    NextStep.GO_ON_IN_BATCH: "go on in {}",
    NextStep.MEASURE_AS_FOUND: "measure as found",
    NextStep.MEASURE_AS_LEFT: "measure as left",
    NextStep.MEASURE_AS_FOUND_COLDER: (
        "measure as found again, from a colder bath: it was open already at the first one"
    ),
    NextStep.MEASURE_AS_LEFT_COLDER: (
        "measure as left again, from a colder bath: it was open already at the first one; where it"
        " is open cold too, it holds too much wax"
    ),
    NextStep.MEASURE_BETTER: "measure better, or in the form the specification states",
    NextStep.RETEST_OR_FAIL: "find what spoilt the measurement and retest, or fail it",
    NextStep.CLEAR_FIRST: "clear first: {}",
    NextStep.CERTIFY: "certify",
    NextStep.HAND_OVER: "hand over with certificate {}",
    NextStep.REPLACE_REMEASURED: "replace or withdraw {}: it rests on an earlier measurement",
    NextStep.REPLACE_RECOMPUTED: "replace or withdraw {}: its result was computed anew",
    NextStep.REWORK: "rework: {}",
    NextStep.ASK_CUSTOMER: "ask the customer",
    NextStep.ASK_CUSTOMER_OR_REWORK: "ask the customer, or rework: {}",
    NextStep.FAIL_SEALED: "fail it and give it back: its element is sealed",
    NextStep.GIVE_UP: "{}",
}
STAGES: dict[NextStep, Stage] = {
    NextStep.MEASURE_AS_FOUND: "as-found",
    NextStep.MEASURE_AS_LEFT: "as-left",
    NextStep.MEASURE_AS_FOUND_COLDER: "as-found",
    NextStep.MEASURE_AS_LEFT_COLDER: "as-left",
}


ADVISED = (NextStep.REWORK, NextStep.ASK_CUSTOMER_OR_REWORK)
"""Steps that are about what the advice says to do."""


def unmeasured_step(story: UnitStory) -> Next:
    """Return what comes next for a unit that was not measured as it is now."""
    if not story.intake.entry.accepted:
        return Next(NextStep.RETURN_REFUSED)
    if story.moved_to is not None:
        return Next(NextStep.GO_ON_IN_BATCH, story.moved_to)
    if story.ruined is not None:
        return Next(NextStep.RETURN_FAILED)
    return Next(NextStep.MEASURE_AS_LEFT if story.reworked else NextStep.MEASURE_AS_FOUND)


def measured_step(
    story: UnitStory,
    version: TypeVersion,
    verdict: Verdict,
    refused: str | None,
    blocks: Sequence[str],
) -> Next:
    """Return what comes next for a measured unit.

    `refused` is why its verdict bears no certificate, `blocks` what else stands against one.
    """
    if story.certificate is not None:
        return Next(NextStep.HAND_OVER, story.certificate)
    if refused is None:
        return Next(NextStep.CLEAR_FIRST, blocks[0]) if blocks else Next(NextStep.CERTIFY)
    sealed = version.rework_kind is not None and version.rework_kind.kind == "sealed"
    if verdict.outcome in (Outcome.FAIL, Outcome.CONDITIONAL_FAIL):
        return Next(NextStep.FAIL_SEALED if sealed else NextStep.REWORK)
    if verdict.outcome is Outcome.CONDITIONAL_PASS:
        return Next(NextStep.ASK_CUSTOMER if sealed else NextStep.ASK_CUSTOMER_OR_REWORK)
    if story.present is not None and story.present.open_at_once:
        return Next(
            NextStep.MEASURE_AS_LEFT_COLDER if story.reworked else NextStep.MEASURE_AS_FOUND_COLDER
        )
    unset = verdict.outcome is Outcome.UNSET
    return Next(NextStep.RETEST_OR_FAIL if unset else NextStep.MEASURE_BETTER)


def advised_step(then: Next, advised: UnitAdvice) -> Next:
    """Return a step with what the advice says to do; a unit that a trim run left outside goes on.

    `then` is to rework it, or to measure it as left after a trim run.
    """
    action = advised.advice.action if advised.advice else None
    if action is TrimAction.GIVE_UP and then.step is not NextStep.ASK_CUSTOMER_OR_REWORK:
        return Next(NextStep.GIVE_UP, advised.next_act)
    if then.step is NextStep.MEASURE_AS_LEFT:
        return Next(NextStep.REWORK, advised.next_act) if leads_on(advised) else then
    if action is TrimAction.LEAVE:
        return then._replace(about="its opening lies inside; mend what else fails")
    return then._replace(about=advised.next_act)
