"""The plan of a night: which units of a batch hang where, and who may not hang there."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from proofbath.bench.night import check_night
from proofbath.errors import InputError
from proofbath.proof.verdict import Attempt, RetestCause, refuse_retest
from proofbath.run.plan import LoadedStation, NightPlan, Stage
from proofbath.run.profile import AnyStep
from proofbath.run.unit_type import UnitType
from proofbath.store.kinds import Batch, ReferenceUnit, TypeVersion, Unit
from proofbath.store.records import Kept, Records
from proofbath.wire.table import STATIONS
from proofbath.workshop.entry import made
from proofbath.workshop.intake import newest_type
from proofbath.workshop.shop import Shop
from proofbath.workshop.story import UnitStory, batch_story, story_in


class Retest(NamedTuple):
    """Why a unit is measured once more: what spoilt the first measurement, and how one knows."""

    cause: RetestCause
    record: str


Retests = Mapping[str, Retest]
"""By serial."""
NO_RETESTS: Retests = {}


def plan_night(
    shop: Shop,
    batch_name: str,
    stage: Stage,
    bench_name: str,
    reference: str | None = None,
    serials: Sequence[str] | None = None,
    retests: Retests = NO_RETESTS,
    *,
    stations: Mapping[str, int] | None = None,
    profile: str | None = None,
    steps: Sequence[AnyStep] = (),
) -> NightPlan:
    """Return the night of a batch's units on a bench; raises InputError with every fault.

    Without `serials` the units that are due for the stage are taken, as many as there is room
    for. `reference` is left out where one reference unit fits; it hangs at the last station unless
    `stations` (by serial) say otherwise. Without `profile` or `steps` the stage's shipped one runs.
    """
    stories = batch_story(shop.records, batch_name)
    batch = shop.records.find(Batch, name=batch_name)
    unit_type = shop.records.one(TypeVersion, batch.entry.type_version_id).entry.unit_type
    guard = _reference(shop.records, unit_type, reference, stage)
    room = STATIONS - (1 if guard else 0)
    wanted = list(serials) if serials is not None else due(stories, stage, retests)[:room]
    if not 0 < len(wanted) <= room:
        what = f"{len(wanted)} units" if wanted else f"no unit is due {stage}"
        raise InputError(f"batch {batch_name}: {what}, a night takes 1 to {room}")
    places = _places(wanted, guard.entry.serial if guard else None, stations or {}, stories)
    guard_type = newest_type(shop.records, guard.entry.unit_type).entry.unit_type if guard else None
    plan = made(
        NightPlan,
        f"night of {batch_name}",
        batch=batch_name,
        stage=stage,
        unit_type=unit_type,
        reference_type=guard_type if guard_type != unit_type else None,
        station=places,
        profile=None if steps else profile or _usual_profile(unit_type, stage),
        step=list(steps),
    )
    faults = loading_faults(shop.records, plan, retests)
    if faults:
        raise InputError(*faults)
    check_night(plan, shop.bench(bench_name))
    return plan


def due(stories: Sequence[UnitStory], stage: Stage, retests: Retests = NO_RETESTS) -> list[str]:
    """Return the serials of a batch's units that are to be measured next in a stage."""
    return [
        story.unit.entry.serial
        for story in stories
        if not _stage_fault(story, stage, retests.get(story.unit.entry.serial))
    ]


def loading_faults(records: Records, plan: NightPlan, retests: Retests = NO_RETESTS) -> list[str]:
    """Return why what a plan loads may not be measured so, one line each; none: it may.

    A trial decides nothing: its units need only be on record.
    """
    faults = [f"retest of {s}: is not loaded" for s in retests if s not in _serials(plan)]
    for place in plan.station:
        if place.role == "blank":
            continue
        found = records.current(Unit, serial=place.serial)
        wanted = plan.type_at(place)
        if not found:
            faults.append(f"station {place.station}: {place.serial} is not on record; add the unit")
        elif wanted is not None and found[0].entry.unit_type != wanted.name:
            faults.append(
                f"station {place.station}: {place.serial} is a {found[0].entry.unit_type}, the plan"
                f" takes it for a {wanted.name}; correct the plan"
            )
        elif place.role == "reference":
            faults += _reference_faults(records, found[0])
        elif plan.stage != "trial":
            faults += _unit_faults(records, plan, place.serial, retests.get(place.serial))
    roles = {place.role for place in plan.station}
    if plan.stage != "trial" and "unit" in roles and "reference" not in roles:
        faults.append("no reference unit is loaded: nothing would show that the bench is right")
    return faults


def reference_in_use(records: Records, unit_id: int) -> Kept[ReferenceUnit] | None:
    """Return the newest word on a reference unit; None where it is none, or no longer one."""
    said = records.current(ReferenceUnit, unit_id=unit_id)
    newest = max(said, key=lambda kept: (kept.entry.since, kept.root), default=None)
    return newest if newest is not None and newest.entry.in_use else None


def _reference(
    records: Records, unit_type: UnitType, serial: str | None, stage: Stage
) -> Kept[Unit] | None:
    """The reference unit that was named, else one of the type, else the newest one."""
    if serial is not None:
        unit = records.find(Unit, serial=serial)
        faults = _reference_faults(records, unit)
        if faults:
            raise InputError(*faults)
        return unit
    known = [
        (records.one(Unit, root), said)
        for root in {kept.entry.unit_id for kept in records.current(ReferenceUnit)}
        if (said := reference_in_use(records, root)) is not None
    ]
    if not known:
        if stage == "trial":
            return None
        raise InputError("no reference unit is on record; name a sealed unit that stays here")
    return max(known, key=lambda k: (k[0].entry.unit_type == unit_type.name, k[1].entry.since))[0]


def _reference_faults(records: Records, unit: Kept[Unit]) -> list[str]:
    if reference_in_use(records, unit.root) is None:
        return [f"{unit.entry.serial}: is no reference unit; take one that is on record as such"]
    return []


def _unit_faults(
    records: Records, plan: NightPlan, serial: str, retest: Retest | None
) -> list[str]:
    try:
        story = story_in(records, plan.batch, serial)
    except InputError as error:
        return list(error.faults)
    fault = _stage_fault(story, plan.stage, retest)
    return [f"{serial}: {fault}"] if fault else []


def _stage_fault(story: UnitStory, stage: Stage, retest: Retest | None) -> str | None:
    """Why a unit may not be measured in a stage now."""
    if not story.intake.entry.accepted:
        return f"was refused at intake ({story.intake.entry.remark}); leave it out"
    if stage == "trial":
        return None
    if stage == "as-left" and story.counting("as-found") is None:
        return "is to be measured as left, but was not measured as found; measure that first"
    if stage == "as-left" and not story.reworked:
        return "was not reworked since it was measured as found; its as-found result counts"
    if stage == "as-found" and story.reworked:
        return "was reworked already; it can only be measured as left"
    asked = Attempt("", retest.cause, retest.record) if retest else Attempt("")
    return refuse_retest(story.attempts(stage), asked)


def _places(
    serials: Sequence[str],
    reference: str | None,
    told: Mapping[str, int],
    stories: Sequence[UnitStory],
) -> list[LoadedStation]:
    """Each unit at its told station, else at the first free one; the reference unit at the last."""
    told = {serial: told[serial] for serial in serials if serial in told} | (
        {reference: told.get(reference, STATIONS)} if reference is not None else {}
    )
    free = [n for n in range(1, STATIONS + 1) if n not in told.values()]
    heaters = {s.unit.entry.serial: s.intake.entry.findings.heater_ohm for s in stories}
    places = []
    for serial in serials:
        station = told.get(serial) or free.pop(0)
        called, ohm = f"station {station}", heaters.get(serial) or None
        places.append(made(LoadedStation, called, station=station, serial=serial, intake_ohm=ohm))
    if reference is not None:
        places.append(
            made(
                LoadedStation,
                f"station {told[reference]}",
                station=told[reference],
                serial=reference,
                role="reference",
            )
        )
    return places


def _usual_profile(unit_type: UnitType, stage: Stage) -> str:
    return f"{unit_type.kind}-{'as-found' if stage == 'as-found' else 'as-left'}"


def _serials(plan: NightPlan) -> set[str]:
    return {place.serial for place in plan.station}
