"""Units judged: the verdict on what counts, what blocks a certificate, and what comes next."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from contextlib import closing, contextmanager
from typing import NamedTuple

from proofbath.errors import InputError
from proofbath.proof.decision import Outcome
from proofbath.proof.effort import Effort
from proofbath.proof.specification import check_frozen
from proofbath.proof.verdict import Agreement, Verdict, refuse_certificate
from proofbath.store.journal import Journal
from proofbath.store.kinds import Certificate, Decision, Person, Result, TypeVersion
from proofbath.store.records import Kept, RecordsReader, Stamp, Writer
from proofbath.workshop.advice import Advisor
from proofbath.workshop.blocks import Blocks
from proofbath.workshop.entry import made
from proofbath.workshop.issued import recomputed_since
from proofbath.workshop.keeping import keep_missing
from proofbath.workshop.next_step import (
    ADVISED,
    Next,
    NextStep,
    advised_step,
    measured_step,
    unmeasured_step,
)
from proofbath.workshop.orders import AsJudged, by_order, order_of
from proofbath.workshop.shop import Shop, ShopView
from proofbath.workshop.snapshot import Snapshot
from proofbath.workshop.story import BY_PERSON, UnitStory, batch_story, story_in
from proofbath.workshop.verdicts import RESULT_ROW, decision_on, verdict_on


class Judged(NamedTuple):
    """A unit judged; `refusals` say in one line each why it gets no certificate now."""

    story: UnitStory
    result: Kept[Result] | None
    verdict: Verdict | None
    refusals: tuple[str, ...]
    next_step: Next
    decision: Kept[Decision] | None
    """The last decision on the result that counts."""
    asked: AsJudged
    """The limits it is judged by, and the order that they follow."""


def judge_batch(shop: ShopView, batch_name: str, on: dt.date) -> list[Judged]:
    """Return each unit of a batch judged on a day; writes nothing."""
    with _judge(shop, on) as judge:
        return judge.batch(batch_name)


def judge_unit(shop: ShopView, batch_name: str, serial: str, on: dt.date) -> Judged:
    """Return one unit of a batch judged on a day; writes nothing."""
    with _judge(shop, on) as judge:
        return judge.unit(story_in(judge.records, batch_name, serial))


def decide(shop: Shop, batch_name: str, stamp: Stamp) -> list[Judged]:
    """Put on record what is decided anew: where the result or the specification changed.

    Runs that are not on record yet are kept first.
    """
    keep_missing(shop, stamp)
    with _judge(shop, stamp.day) as judge:
        judged = judge.batch(batch_name)
        with shop.records.writing(stamp) as writer:
            for unit in judged:
                if unit.result is not None and unit.verdict is not None:
                    decision = decision_on(unit.story, unit.result, unit.verdict)
                    if _is_new(decision, _last(writer, unit.result)):
                        writer.add(decision)
        judge.records = Snapshot(shop.records)
        return judge.batch(batch_name)


def fail_unit(shop: Shop, batch_name: str, serial: str, reason: str, stamp: Stamp) -> int:
    """Let a person fail a unit, stuck or ruined in its rework; return the decision's number.

    One that was not measured since its rework fails on its as-found result, the last there is.
    """
    unit = judge_unit(shop, batch_name, serial, stamp.day)
    result = unit.result or _as_found(unit.story)
    if result is None:
        raise InputError(
            f"{serial}: was not measured in {batch_name}; {unit.next_step.words}, or refuse it:"
            " proofbath batch intake with --correct WHY --refuse --remark WHY"
        )
    if not reason.strip():
        raise InputError(f"{serial}: say why it fails")
    if unit.story.certificate is not None:
        raise InputError(
            f"{serial}: certificate {unit.story.certificate} stands; withdraw it first"
        )
    verdict = unit.verdict or verdict_on(unit.asked.specification, result)
    entry = decision_on(unit.story, result, verdict).model_copy(
        update={"rule": BY_PERSON, "outcome": Outcome.FAIL.value, "probability": None}
    )
    content = {**entry.content, "reason": reason}
    return shop.records.add(entry.model_copy(update={"content": content}), stamp)


def agree(
    shop: Shop,
    batch_name: str,
    serial: str,
    *,
    customer: str,
    record: str,
    stamp: Stamp,
) -> int:
    """Put the customer's agreement to a conditional pass on record; return the decision's number.

    Raises InputError for any other outcome, and without who agreed and where that stands.
    """
    unit = judge_unit(shop, batch_name, serial, stamp.day)
    if unit.result is None or unit.verdict is None:
        raise InputError(f"{serial}: was not measured as it is now; {unit.next_step.words}")
    if unit.verdict.outcome is not Outcome.CONDITIONAL_PASS:
        raise InputError(f"{serial}: came to {unit.verdict.outcome}; nothing to agree to")
    if unit.decision is not None and unit.decision.entry.rule == BY_PERSON:
        raise InputError(f"{serial}: was failed by a person; nothing to agree to")
    if not customer.strip() or not record.strip():
        raise InputError(f"{serial}: say who agreed, and where that is recorded")
    decision = decision_on(unit.story, unit.result, unit.verdict)
    said = {"agreement_customer": customer, "agreement_record": record}
    agreed = made(Decision, serial, **decision.model_dump() | said)
    with shop.records.writing(stamp) as writer:
        known = _last(writer, unit.result)
        new = known is None or _is_new(decision, known)
        root = writer.add(decision) if known is None or new else known.root
        writer.correct(root, agreed, f"{customer} agreed to the conditional pass")
        return root


class _Judge:
    """Judges units on a day, each run looked into once."""

    def __init__(
        self, records: RecordsReader, journal: Journal, on: dt.date, effort: Effort
    ) -> None:
        self.records, self._effort = records, effort
        self._advisor = Advisor(records, effort)
        self._blocks = Blocks(records, journal, on)

    def batch(self, name: str) -> list[Judged]:
        """Return each unit of a batch judged."""
        self._advisor = Advisor(self.records, self._effort)
        return [self.unit(story) for story in batch_story(self.records, name)]

    def unit(self, story: UnitStory) -> Judged:
        """Return a unit judged."""
        version = self.records.one(TypeVersion, story.batch.entry.type_version_id).entry
        asked = by_order(version, order_of(self.records, story))
        step = story.present if story.intake.entry.accepted else None
        if step is None or step.result is None:
            then, ruined = self._advised(unmeasured_step(story), story), story.ruined
            said = self._by_person(ruined)
            refusals = (said,) if said else _unmeasured(story)
            return Judged(story, None, None, refusals, then, ruined, asked)
        verdict = verdict_on(asked.specification, step.result)
        decision = _last(self.records, step.result)
        failed = self._by_person(decision)
        refused = refuse_certificate(verdict, _agreement(decision, step.result, verdict))
        moved = _moved(story)
        blocks = (
            *moved,
            *_missing_found(story),
            *_unfrozen(version, story),
            *self._blocks.of(step, version.unit_type.element_ohm is not None),
        )
        refusals = tuple(line for line in (failed, refused, *blocks) if line)
        then = measured_step(story, version, verdict, refused, blocks)
        if failed:
            then = Next(NextStep.RETURN_FAILED)
        elif moved:
            then = Next(NextStep.GO_ON_IN_BATCH, story.moved_to or "")
        elif doubt := self._doubt(story.certificate, step.result):
            then = doubt
        then = self._advised(then, story)
        return Judged(story, step.result, verdict, refusals, then, decision, asked)

    def _advised(self, then: Next, story: UnitStory) -> Next:
        """Return the step as the advice has it; a trim run says that an unmeasured one goes on."""
        tried = then.step is NextStep.MEASURE_AS_LEFT and story.counting("trial") is not None
        if then.step not in ADVISED and not tried:
            return then
        return advised_step(then, self._advisor.advise(story))

    def _doubt(self, number: str | None, result: Kept[Result]) -> Next | None:
        """Return what is to be done with a certificate that is not what goes with its unit."""
        if number is None:
            return None
        certificate = self.records.find(Certificate, number=number)
        if certificate.entry.result_id != result.root:
            return Next(NextStep.REPLACE_REMEASURED, number)
        if recomputed_since(certificate, result):
            return Next(NextStep.REPLACE_RECOMPUTED, number)
        return None

    def _by_person(self, decision: Kept[Decision] | None) -> str | None:
        if decision is None or decision.entry.rule != BY_PERSON or decision.by is None:
            return None
        who = self.records.one(Person, decision.by).entry.name
        return f"failed by {who}: {decision.entry.content['reason']}"


@contextmanager
def _judge(shop: ShopView, on: dt.date) -> Iterator[_Judge]:
    with closing(Journal(shop.records.place)) as journal:
        yield _Judge(Snapshot(shop.records), journal, on, shop.file.effort)


def _moved(story: UnitStory) -> list[str]:
    if story.moved_to is None or story.certificate is not None:
        return []
    return [f"taken into {story.moved_to} since: it is judged there as it is now"]


def _as_found(story: UnitStory) -> Kept[Result] | None:
    """Return the last result of a unit that its rework ruined; None for one that is not here."""
    found = story.counting("as-found") if story.intake.entry.accepted else None
    return found.result if found and story.moved_to is None else None


def _unmeasured(story: UnitStory) -> tuple[str, ...]:
    intake = story.intake.entry
    if not intake.accepted:
        return (f"refused at intake: {intake.remark}",)
    if story.moved_to is not None:
        return tuple(_moved(story))
    if story.reworked:
        return ("as-left missing: was reworked and not measured since", *_missing_found(story))
    return tuple(_missing_found(story))


def _missing_found(story: UnitStory) -> list[str]:
    if story.counting("as-found") is not None:
        return []
    return ["as-found missing: nothing shows how it came in; measure it before it is touched"]


def _unfrozen(version: TypeVersion, story: UnitStory) -> list[str]:
    try:
        check_frozen(version.specification, story.batch.entry.fingerprint)
    except InputError as error:
        return list(error.faults)
    return []


def _last(records: RecordsReader | Writer, result: Kept[Result]) -> Kept[Decision] | None:
    """Return the last decision on a result."""
    taken = records.current(Decision, result_id=result.root)
    return taken[-1] if taken else None


def _agreement(
    decision: Kept[Decision] | None, result: Kept[Result], verdict: Verdict
) -> Agreement | None:
    """Return the customer's agreement to a result as it stands, judged as it is now.

    One to a result before a correction, or to what was ordered before, is none.
    """
    if decision is None or decision.entry.content.get(RESULT_ROW) != result.id:
        return None
    if decision.entry.fingerprint != verdict.specification.fingerprint():
        return None
    return Agreement(decision.entry.agreement_customer, decision.entry.agreement_record)


def _is_new(decision: Decision, known: Kept[Decision] | None) -> bool:
    """Whether a result or its specification changed; a person's word on a result stays."""
    if known is None:
        return True
    entry = known.entry
    if entry.rule == BY_PERSON:
        return False
    same = (entry.fingerprint, entry.rule, entry.content.get(RESULT_ROW))
    return same != (decision.fingerprint, decision.rule, decision.content[RESULT_ROW])
