"""The plan of a night: which units of a batch hang where, and who may not hang there."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import tomlkit

from proofbath.bench.description import BenchFile
from proofbath.bench.night import check_night
from proofbath.errors import InputError
from proofbath.proof.verdict import Attempt, RetestCause, refuse_retest
from proofbath.run.plan import LoadedStation, NightPlan, Spoilt, Stage
from proofbath.run.profile import AnyStep
from proofbath.run.profiles import TRIM
from proofbath.run.unit_type import Opens, UnitType
from proofbath.store.kinds import Batch, ReferenceUnit, TypeVersion, Unit
from proofbath.store.records import Kept, RecordsReader
from proofbath.wire.table import STATIONS
from proofbath.workshop.entry import made
from proofbath.workshop.expected_opens import expected_of
from proofbath.workshop.intake import newest_type, reference_in_use
from proofbath.workshop.orders import batch_order, by_order
from proofbath.workshop.powered_programme import Programme, programme_by_order, programme_for
from proofbath.workshop.rework_checks import heat_faults
from proofbath.workshop.shop import ShopView
from proofbath.workshop.snapshot import Snapshot
from proofbath.workshop.story import UnitStory, batch_story, only, story_in

EARLIER_K = 2.0
"""A unit may be expected so much earlier than a plan was made for."""


class Retest(NamedTuple):
    """Why a unit is measured once more: what spoilt the first measurement, and how one knows."""

    cause: Spoilt
    record: str


def plan_night(
    shop: ShopView,
    batch_name: str,
    stage: Stage,
    bench_name: str,
    reference: str | None = None,
    serials: Sequence[str] | None = None,
    retests: Mapping[str, Retest] | None = None,
    *,
    stations: Mapping[str, int] | None = None,
    profile: str | None = None,
    steps: Sequence[AnyStep] = (),
) -> NightPlan:
    """Return the night of a batch's units on a bench; raises InputError with every fault.

    Without `serials` the units that are due for the stage are taken, as many as there is room
    for, those of `retests` first. `reference` is left out where one reference unit fits; it hangs
    at the last free station unless `stations` (by serial) say otherwise; what a virtual bench's
    file hangs up is planned where it hangs. Without `profile` or `steps` the stage's shipped one
    runs, and behind a heated one what the batch's limits at set currents ask for.
    """
    again = retests or {}
    stories = batch_story(shop.records, batch_name)
    batch = shop.records.find(Batch, name=batch_name)
    version = shop.records.one(TypeVersion, batch.entry.type_version_id).entry
    unit_type = version.unit_type
    guard = _reference(shop.records, unit_type, reference, stage)
    room = STATIONS - (1 if guard else 0)
    wanted = _wanted(f"batch {batch_name}", stories, stage, serials, again, room)
    serial = guard.entry.serial if guard else None
    bench, told = shop.bench(bench_name), dict(stations or {})
    told |= {s: n for s, n in _hung(bench).items() if s not in told and n not in told.values()}
    places = _places(wanted, serial, told, stories, again)
    expected = _expected(shop.records, [s for s in stories if s.unit.entry.serial in wanted])
    places = [_with_opens(place, expected.get(place.serial)) for place in places]
    guard_type = newest_type(shop.records, guard.entry.unit_type).entry.unit_type if guard else None
    is_usual = not (steps or profile) and unit_type.kind == "heater-assisted"
    asked = _programme(shop.records, batch, version, stage) if is_usual else Programme()
    plan = made(
        NightPlan,
        f"night of {batch_name}",
        batch=batch_name,
        stage=stage,
        unit_type=unit_type,
        reference_type=guard_type if guard_type != unit_type else None,
        station=places,
        profile=None if steps else profile or _usual_profile(unit_type, stage),
        then=list(asked.then),
        heated=asked.heated,
        step=list(steps),
    )
    faults = loading_faults(shop.records, plan)
    if faults:
        raise InputError(*faults)
    check_night(plan, bench)
    return plan


def _wanted(
    called: str,
    stories: Sequence[UnitStory],
    stage: Stage,
    serials: Sequence[str] | None,
    again: Mapping[str, Retest],
    room: int,
) -> list[str]:
    """Return who is loaded; raises InputError for none, for too many, and for a retest left out."""
    wanted = list(serials or [*dict.fromkeys([*again, *due(stories, stage)])][:room])
    if not wanted:
        raise InputError(f"{called}: no unit is due {stage}; look who needs what next")
    if len(wanted) > room:
        raise InputError(f"{called}: {len(wanted)} units, a night takes 1 to {room}")
    absent = [f"retest of {serial}: is not loaded" for serial in again if serial not in wanted]
    if absent:
        raise InputError(*absent)
    return wanted


def due(stories: Sequence[UnitStory], stage: Stage) -> list[str]:
    """Return the serials of a batch's units that are to be measured next in a stage."""
    return [
        story.unit.entry.serial for story in stories if not _stage_fault(story, stage, Attempt(""))
    ]


def loading_faults(records: RecordsReader, plan: NightPlan) -> list[str]:
    """Return why what a plan loads may not be measured so, one line each; none: it may.

    A trial decides nothing: its units need only be on record.
    """
    batch = only(records.current(Batch, name=plan.batch))
    if plan.stage != "trial" and (fault := _no_trial_fault(plan, batch)):
        return [fault]
    faults = list[str]()
    for place in plan.station:
        if place.role == "blank":
            continue
        unit = only(records.current(Unit, serial=place.serial))
        if unit is None:
            faults.append(f"station {place.station}: {place.serial} is not on record; add the unit")
            continue
        fault = _type_fault(records, plan, place, unit.entry, batch)
        if fault:
            faults.append(f"station {place.station}: {fault}")
        elif place.role == "reference":
            faults += _reference_faults(records, unit)
        elif plan.stage != "trial":
            faults += _unit_faults(records, plan, place)
        if place.role == "unit" and not fault:
            faults += [f"{place.serial}: {line}" for line in heat_faults(records, place.serial)]
    roles = {place.role for place in plan.station}
    if plan.stage != "trial" and "unit" in roles and "reference" not in roles:
        faults.append("no reference unit is loaded: nothing would show that the bench is right")
    return faults


def _no_trial_fault(plan: NightPlan, batch: Kept[Batch] | None) -> str | None:
    """Why a plan can be a trial at most."""
    if plan.profile == TRIM:
        return f'profile {TRIM} certifies nothing: plan it with stage "trial"'
    if batch is None:
        return f"batch {plan.batch}: is not on record; plan the night of one that is"
    return None


def _type_fault(
    records: RecordsReader,
    plan: NightPlan,
    place: LoadedStation,
    unit: Unit,
    batch: Kept[Batch] | None,
) -> str | None:
    """Why a plan's figures of a unit are not those on record: a run's limits rest on them."""
    planned = plan.type_at(place)
    assert planned is not None
    if unit.unit_type != planned.name:
        return (
            f"{place.serial} is a {unit.unit_type}, the plan takes it for a {planned.name};"
            " correct the plan"
        )
    if place.role == "unit" and batch is not None:
        known = records.one(TypeVersion, batch.entry.type_version_id).entry.unit_type
    else:
        known = newest_type(records, unit.unit_type).entry.unit_type
    other = [name for name, value in known if getattr(planned, name) != value]
    if not other:
        return None
    told = ", ".join(f"{name} {getattr(planned, name)}" for name in other)
    return f"the plan says {told} of {planned.name}, the record does not; plan the night anew"


def _reference(
    records: RecordsReader, unit_type: UnitType, serial: str | None, stage: Stage
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


def _reference_faults(records: RecordsReader, unit: Kept[Unit]) -> list[str]:
    if reference_in_use(records, unit.root) is None:
        return [f"{unit.entry.serial}: is no reference unit; take one that is on record as such"]
    return []


def _unit_faults(records: RecordsReader, plan: NightPlan, place: LoadedStation) -> list[str]:
    try:
        story = story_in(records, plan.batch, place.serial)
    except InputError as error:
        return list(error.faults)
    fault = _stage_fault(story, plan.stage, Attempt("", cause_of(place), place.cause_record or ""))
    return [f"{place.serial}: {fault}"] if fault else _early_fault(records, plan, place)


def plan_text(plan: NightPlan) -> str:
    """Return a plan as the TOML that a night is run from."""
    return tomlkit.dumps(plan.model_dump(mode="json", exclude_none=True))


def cause_of(place: LoadedStation) -> RetestCause | None:
    """Return what spoilt the first measurement, as it is kept on record."""
    return RetestCause[place.retest_cause.upper()] if place.retest_cause else None


def _stage_fault(story: UnitStory, stage: Stage, asked: Attempt) -> str | None:
    """Why a unit may not be measured in a stage now."""
    if not story.intake.entry.accepted:
        return f"was refused at intake ({story.intake.entry.remark}); leave it out"
    if stage == "trial":
        return None
    return _order_fault(story, stage) or refuse_retest(story.attempts(stage), asked)


def _order_fault(story: UnitStory, stage: Stage) -> str | None:
    """Why it is not a unit's turn: found, reworked and left come in that order, in one batch."""
    if story.moved_to is not None:
        return f"was taken into {story.moved_to} since; plan that batch's night"
    if story.ruined is not None:
        return f"was failed ({story.ruined.entry.content['reason']}); give it back"
    if stage == "as-left" and story.counting("as-found") is None:
        return "is to be measured as left, but was not measured as found; measure that first"
    if stage == "as-left" and not story.reworked:
        return "was not reworked since it was measured as found; its as-found result counts"
    if stage == "as-found" and story.reworked:
        return "was reworked already; it can only be measured as left"
    return None


def _hung(bench: BenchFile) -> dict[str, int]:
    """Where a virtual bench's units hang: nobody moves them from night to night."""
    return {unit.serial: unit.station for unit in bench.virtual.unit} if bench.virtual else {}


def _places(
    serials: Sequence[str],
    reference: str | None,
    told: Mapping[str, int],
    stories: Sequence[UnitStory],
    again: Mapping[str, Retest],
) -> list[LoadedStation]:
    """Each unit at its told station, else at the first free one; the reference unit at the last."""
    hung = [*serials, *([reference] if reference is not None else [])]
    taken = [told[serial] for serial in hung if serial in told]
    free = [n for n in range(1, STATIONS + 1) if n not in taken]
    last = free.pop() if reference is not None and reference not in told else 0
    heaters = {s.unit.entry.serial: s.intake.entry.findings.heater_ohm for s in stories}
    places = []
    for serial in serials:
        station, retest = told.get(serial) or free.pop(0), again.get(serial)
        said = {"retest_cause": retest.cause, "cause_record": retest.record} if retest else {}
        where = {"station": station, "serial": serial, "intake_ohm": heaters.get(serial) or None}
        places.append(made(LoadedStation, f"{serial} at station {station}", **where, **said))
    if reference is not None:
        where = {"station": told.get(reference, last), "serial": reference, "role": "reference"}
        places.append(made(LoadedStation, f"station {where['station']}", **where))
    return places


def _expected(records: RecordsReader, stories: Sequence[UnitStory]) -> dict[str, Opens]:
    """Return where units are expected to open, by serial; none whose marking alone tells."""
    kept = Snapshot(records)
    found = ((story.unit.entry.serial, expected_of(kept, story)) for story in stories)
    return {serial: opens for serial, opens in found if opens is not None}


def _with_opens(place: LoadedStation, opens: Opens | None) -> LoadedStation:
    if opens is None:
        return place
    names = ("opens_c", "opens_by_c", "full_c")
    figures = {name: round(c, 1) for name, c in zip(names, opens, strict=True)}
    return made(LoadedStation, f"station {place.station}", **place.model_dump() | figures)


def _early_fault(records: RecordsReader, plan: NightPlan, place: LoadedStation) -> list[str]:
    """Why a plan would run a unit too warm: it opens earlier than the plan was made for."""
    opens = expected_of(records, story_in(records, plan.batch, place.serial))
    planned = place.opens(plan.unit_type)
    if opens is None or opens.first_c >= planned.first_c - EARLIER_K:
        return []
    return [
        f"{place.serial}: is expected to open from {opens.first_c:.1f} °C on, the plan was made for"
        f" {planned.first_c:.1f} °C; plan the night anew"
    ]


def _programme(
    records: RecordsReader, batch: Kept[Batch], version: TypeVersion, stage: Stage
) -> Programme:
    """Return what a heated batch's night runs behind its usual profile."""
    judged = by_order(version, batch_order(records, batch))
    asked = programme_for(judged.specification)
    shown = judged.order is not None and stage == "as-left" and not asked.then
    return programme_by_order(version.specification) if shown else asked


def _usual_profile(unit_type: UnitType, stage: Stage) -> str:
    return f"{unit_type.kind}-{'as-found' if stage == 'as-found' else 'as-left'}"
