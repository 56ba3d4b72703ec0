"""The story of a unit in a batch: intake, measured as found, reworked, measured as left."""

from __future__ import annotations

import datetime as dt
from operator import itemgetter
from typing import Literal, NamedTuple, TypeVar

from proofbath.curve.content import ResultContent
from proofbath.errors import InputError
from proofbath.proof.verdict import Attempt
from proofbath.store.kinds import (
    Batch,
    Certificate,
    CertificateState,
    Decision,
    Intake,
    Kind,
    Loading,
    Result,
    Rework,
    StationRun,
    Unit,
)
from proofbath.store.records import Kept, RecordsReader
from proofbath.workshop.contents import content_of
from proofbath.workshop.entry import day_of

StepStage = Literal["as-found", "rework", "as-left", "trial"]
K = TypeVar("K", bound=Kind)
BY_PERSON = "person"
"""Rule of a decision that a person took."""


class Step(NamedTuple):
    """One thing that happened to a unit: a measurement, or a rework.

    A loading without a station run is a night that never began, or is not kept yet; a station run
    without a result is one that recorded nothing of the unit.
    """

    stage: StepStage
    date: dt.date
    loading: Kept[Loading] | None = None
    station_run: Kept[StationRun] | None = None
    result: Kept[Result] | None = None
    rework: Kept[Rework] | None = None

    @property
    def done(self) -> bool:
        """Whether the measurement's run went to its end."""
        return self.station_run is not None and self.station_run.entry.status == "done"

    @property
    def attempted(self) -> bool:
        """Whether it was measured: a run that ended before any value was seen is no attempt.

        Nor is one that began too warm to show where it opens: no value was seen to be chosen by.
        """
        if self.content is None or self.open_at_once:
            return False
        found = self.content.curve.quantities.values()
        return self.done or any(quantity.value is not None for quantity in found)

    @property
    def open_at_once(self) -> bool:
        """Whether it was open already at the first bath, so that no start was seen."""
        return self.content is not None and self.content.curve.warned("open_at_first_bath")

    @property
    def content(self) -> ResultContent | None:
        """What its result says; None where there is no result."""
        return content_of(self.result) if self.result else None


class UnitStory(NamedTuple):
    """A unit's way through one batch; steps in the order in which they were put on record."""

    unit: Kept[Unit]
    batch: Kept[Batch]
    intake: Kept[Intake]
    steps: tuple[Step, ...]
    certificate: str | None = None
    """Number of the certificate of this batch that stands."""
    moved_to: str | None = None
    """A later batch it was taken into: what it is now is measured and judged there."""
    ruined: Kept[Decision] | None = None
    """A person's word that it fails as its last rework left it, unmeasured."""

    @property
    def reworked(self) -> bool:
        """Whether anything was changed on the unit in this batch."""
        return any(step.stage == "rework" for step in self.steps)

    @property
    def last_rework(self) -> Kept[Rework] | None:
        """Return the last rework in this batch that stands."""
        done = [step.rework for step in self.steps if step.rework is not None]
        return done[-1] if done else None

    def counting(self, stage: StepStage) -> Step | None:
        """Return the measurement of a stage that counts: the last since the last rework.

        As found is what was measured before the first one.  A retest's counts.
        """
        measured = [step for step in self._present(stage) if step.result is not None]
        return measured[-1] if measured else None

    def attempts(self, stage: StepStage) -> list[Attempt]:
        """Return the measurements of a stage in the unit's present state, for the retest rule."""
        return [
            Attempt(
                str(step.station_run.entry.run_id),
                step.loading.entry.retest_cause,
                step.loading.entry.cause_record,
            )
            for step in self._present(stage)
            if step.attempted and step.station_run is not None and step.loading is not None
        ]

    @property
    def present(self) -> Step | None:
        """Return the measurement of the unit as it is now; None after a rework without one."""
        return self.counting("as-left") or (None if self.reworked else self.counting("as-found"))

    def _present(self, stage: StepStage) -> list[Step]:
        reworks = [n for n, step in enumerate(self.steps) if step.stage == "rework"]
        first = reworks[0] if reworks else len(self.steps)
        part = self.steps[:first] if stage == "as-found" else self.steps[_after(reworks) :]
        return [step for step in part if step.stage == stage]


def batch_story(records: RecordsReader, batch_name: str) -> list[UnitStory]:
    """Return the story of each unit taken into a batch, or refused, in the order of intake."""
    batch = records.find(Batch, name=batch_name)
    intakes = records.current(Intake, batch_id=batch.root)
    units = {kept.root: kept for kept in records.current(Unit)}
    return [_story(records, units[kept.entry.unit_id], batch, kept) for kept in intakes]


def unit_story(records: RecordsReader, serial: str) -> list[UnitStory]:
    """Return a unit's stories across batches and years, oldest first."""
    unit = records.find(Unit, serial=serial)
    return [
        _story(records, unit, records.one(Batch, kept.entry.batch_id), kept)
        for kept in records.current(Intake, unit_id=unit.root)
    ]


def story_in(records: RecordsReader, batch_name: str, serial: str) -> UnitStory:
    """Return one unit's story in a batch; raises InputError where it was not taken in."""
    batch = records.find(Batch, name=batch_name)
    unit = records.find(Unit, serial=serial)
    intakes = records.current(Intake, unit_id=unit.root, batch_id=batch.root)
    if not intakes:
        raise InputError(f"{serial}: was not taken into {batch_name}; take it in first")
    return _story(records, unit, batch, intakes[0])


def reworks_of(records: RecordsReader, **equal: int | None) -> list[Kept[Rework]]:
    """Return the reworks on record whose fields are `equal`, those that were cancelled left out."""
    return [kept for kept in records.current(Rework, **equal) if not kept.entry.cancelled]


def only(entries: list[Kept[K]]) -> Kept[K] | None:
    """Return the one entry of a list that holds at most one."""
    return entries[0] if entries else None


def _story(
    records: RecordsReader, unit: Kept[Unit], batch: Kept[Batch], intake: Kept[Intake]
) -> UnitStory:
    keys = {"unit_id": unit.root, "batch_id": batch.root}
    place = records.places(Loading, Rework, Decision)
    # what another process put on record since the places were read belongs to the next reading
    placed = [
        (place[Loading, kept.root], _measured(records, kept))
        for kept in records.current(Loading, **keys)
        if kept.entry.place == "unit" and (Loading, kept.root) in place
    ]
    placed += [
        (place[Rework, kept.root], Step("rework", kept.entry.date, rework=kept))
        for kept in reworks_of(records, **keys)
        if (Rework, kept.root) in place
    ]
    placed.sort(key=itemgetter(0))
    steps = tuple(step for _, step in placed)
    standing, later = _standing(records, keys), _moved_to(records, intake)
    story = UnitStory(unit, batch, intake, steps, standing, later)
    if not story.reworked or story.present is not None:
        return story
    reworked = max(at for at, step in placed if step.stage == "rework")
    said = [
        kept
        for kept in records.current(Decision, rule=BY_PERSON, **keys)
        if place.get((Decision, kept.root), reworked) > reworked
    ]
    return story._replace(ruined=said[-1] if said else None)


def _moved_to(records: RecordsReader, intake: Kept[Intake]) -> str | None:
    """Return the last batch that took the unit in after this one did."""
    later = [
        kept
        for kept in records.current(Intake, unit_id=intake.entry.unit_id)
        if kept.root > intake.root and kept.entry.accepted
    ]
    return records.one(Batch, later[-1].entry.batch_id).entry.name if later else None


def _measured(records: RecordsReader, loading: Kept[Loading]) -> Step:
    run = only(records.current(StationRun, loading_id=loading.root))
    result = only(records.current(Result, station_run_id=run.root)) if run else None
    date = day_of(_first_at(records, Loading, loading))
    return Step(loading.entry.stage, date, loading, run, result)


def _first_at(records: RecordsReader, kind: type[K], kept: Kept[K]) -> str:
    """Return when an entry was made, however often it was corrected since."""
    return kept.at if kept.id == kept.root else records.history(kind, kept.root)[0].at


def _standing(records: RecordsReader, keys: dict[str, int]) -> str | None:
    decisions = {kept.root for kept in records.current(Decision, **keys)}
    issued = [
        kept
        for kept in records.current(Certificate, unit_id=keys["unit_id"])
        if kept.entry.decision_id in decisions
        and not records.current(CertificateState, certificate_id=kept.root)
    ]
    return issued[-1].entry.number if issued else None


def _after(reworks: list[int]) -> int:
    return reworks[-1] + 1 if reworks else 0
