"""A returned unit then and now: its last as-left result against what was found on return."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import closing
from pathlib import Path
from typing import Literal, NamedTuple

from proofbath.certificate.agreement import Change, change_of
from proofbath.certificate.results import Result, result_of
from proofbath.certificate.then_and_now import Measurement, ThenAndNow
from proofbath.errors import InputError
from proofbath.proof.verdict import Verdict, judge
from proofbath.store.journal import Journal
from proofbath.store.records import RecordsReader, Stamp
from proofbath.workshop.desk import as_document, open_desk
from proofbath.workshop.findings import quantities_like, usual_quantities
from proofbath.workshop.issued import IssuedLine, certificates_of, pdf_path
from proofbath.workshop.orders import specification_of
from proofbath.workshop.parties import customer_of, one_line, unit_of
from proofbath.workshop.run_evidence import RunEvidence
from proofbath.workshop.run_shelf import RunShelf
from proofbath.workshop.shop import Shop
from proofbath.workshop.story import Step, UnitStory, unit_story


class Two(NamedTuple):
    """The two measurements of a unit that are compared."""

    then: UnitStory
    then_step: Step
    now: UnitStory
    now_step: Step


def two_measurements(records: RecordsReader, serial: str) -> Two:
    """Return a unit's newest as-found measurement and the as-left one before it.

    Raises InputError where there are not both, or it came back and was not measured since.
    """
    stories = unit_story(records, serial)
    last = stories[-1] if stories else None
    if last and len(stories) > 1 and last.intake.entry.accepted and not last.counting("as-found"):
        raise InputError(
            f"{serial}: came back in {last.batch.entry.name} and was not measured since; measure it"
            " as found, before anything is touched"
        )
    for place in range(len(stories) - 1, -1, -1):
        found = stories[place].counting("as-found")
        if found is None:
            continue
        for earlier in reversed(stories[:place]):
            left = earlier.present
            if left is not None:
                return Two(earlier, left, stories[place], found)
        raise InputError(f"{serial}: was measured as found, but never left before; nothing then")
    raise InputError(f"{serial}: has no as-found result; measure it before anything is touched")


def changes_between(records: RecordsReader, two: Two) -> tuple[Change, ...]:
    """Return how each quantity of one form changed; what was limited then comes first."""
    asked = judge(specification_of(records, two.then), [])
    then, now = (_results(step, asked) for step in (two.then_step, two.now_step))
    found = []
    for result in then:
        changes = (change_of(result, other) for other in now)
        if change := next(filter(None, changes), None):
            found.append(change)
    return tuple(found)


def then_and_now(shop: Shop, serial: str, stamp: Stamp, passphrase: bytes | None = None) -> Path:
    """Issue the page that compares a returned unit with how it left, and return its PDF."""
    two = two_measurements(shop.records, serial)
    changes = changes_between(shop.records, two)
    if not changes:
        raise InputError(f"{serial}: no quantity was found in the same form then and now")
    with (
        open_desk(shop, stamp, passphrase) as desk,
        closing(Journal(shop.records.place)) as journal,
    ):
        shelf = RunShelf(shop.records, journal)
        issued = certificates_of(shop.records, serial=serial)
        then = _measurement("as-left", two.then, two.then_step, shelf, issued)
        now = _measurement("as-found", two.now, two.now_step, shelf, ())
        runs = [_run(shelf, step) for step in (two.then_step, two.now_step)]

        def written(number: str) -> ThenAndNow:
            return ThenAndNow(
                number=number,
                workshop=shop.file.workshop,
                customer=customer_of(two.now.batch.entry),
                unit=unit_of(two.now),
                then=then,
                now=now,
                changes=changes,
                powered_curve=all(run.is_powered for run in runs),
                simulated=any(run.is_simulated for run in runs),
                issued=stamp.day,
                authorised_by=desk.signer.person,
            )

        return pdf_path(shop, desk.issue(written, as_document("then-and-now", serial)).number)


def _results(step: Step, asked: Verdict) -> tuple[Result, ...]:
    """What was limited first, then the usual quantities that were not among it."""
    content = step.content
    assert content is not None
    limited = quantities_like(content, asked)
    others = (one for one in usual_quantities(content) if one not in limited)
    return tuple(map(result_of, (*limited, *others)))


def _measurement(
    stage: Literal["as-found", "as-left"],
    story: UnitStory,
    step: Step,
    shelf: RunShelf,
    issued: Sequence[IssuedLine],
) -> Measurement:
    assert step.station_run is not None
    run, station = _run(shelf, step), step.station_run.entry.station
    name = story.batch.entry.name
    lines = [line for line in issued if line.batch == name]
    ended = lines and lines[-1].state != "valid"
    told = f"its certificate was {lines[-1].state} by {lines[-1].document}" if ended else ""
    unchanged = "left as it was found" if step.stage != stage else ""
    return Measurement(
        stage=stage,
        date=run.started,
        batch=name,
        run=run.called,
        bench=run.bench.bench.name,
        station=station,
        certificate=lines[-1].number if lines else None,
        remark=one_line("; ".join(filter(None, [unchanged, told]))),
        curve=run.curves.get(station, ()),
    )


def _run(shelf: RunShelf, step: Step) -> RunEvidence:
    assert step.station_run is not None
    assert step.result is not None
    return shelf.evidence(step.station_run.entry.run_id, step.result.entry.calibration_ids)
