"""What was ordered of a batch or a unit: put on record, and the limits it is judged by then."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from proofbath.certificate.conformity import limit_in_words
from proofbath.certificate.words import plain
from proofbath.errors import InputError
from proofbath.proof.ordered import Ordered
from proofbath.proof.specification import LIFT_MM, Limit, Specification
from proofbath.quantity.currents import AT_A_CURRENT, IN_A_BATH
from proofbath.quantity.levels import LEVELS_MM, OPENING, level_like
from proofbath.run.unit_type import UnitType
from proofbath.store.kinds import Batch, Order, TypeVersion
from proofbath.store.records import Kept, RecordsReader, Stamp, Writer
from proofbath.workshop.entry import made
from proofbath.workshop.measured_values import STARTS
from proofbath.workshop.shop import Shop
from proofbath.workshop.story import UnitStory, batch_story, story_in

OF_THE_MARKING = (*STARTS, OPENING, "full_open_c", "closing_c", *AT_A_CURRENT, *IN_A_BATH)
"""Limits that stand or fall with where the marking says that a unit opens."""


class AsJudged(NamedTuple):
    """The limits a unit is judged by, those of the marking that an order sets aside, the order."""

    specification: Specification
    set_aside: tuple[Limit, ...] = ()
    order: Kept[Order] | None = None


def order_of(records: RecordsReader | Writer, story: UnitStory) -> Kept[Order] | None:
    """Return the order that holds for a unit: its own before its batch's, each the newest."""
    of_batch = records.current(Order, batch_id=story.batch.root)
    return _newest(of_batch, story.unit.root) or _newest(of_batch, None)


def batch_order(records: RecordsReader, batch: Kept[Batch]) -> Kept[Order] | None:
    """Return the order of a whole batch that holds."""
    return _newest(records.current(Order, batch_id=batch.root), None)


def specification_of(records: RecordsReader, story: UnitStory) -> Specification:
    """Return the limits that a unit is judged by: its batch's, with its order in their place."""
    return as_judged(records, story).specification


def as_judged(records: RecordsReader, story: UnitStory) -> AsJudged:
    """Return the limits that a unit is judged by, and what its order changes of the marking's."""
    version = records.one(TypeVersion, story.batch.entry.type_version_id).entry
    return by_order(version, order_of(records, story))


def by_order(version: TypeVersion, order: Kept[Order] | None) -> AsJudged:
    """Return a type's limits as an order leaves them."""
    marked = version.specification
    if order is None:
        return AsJudged(marked)
    aside = tuple(limit for limit in marked.limit if limit.quantity in OF_THE_MARKING)
    kept = tuple(limit for limit in marked.limit if limit not in aside)
    limits = (limit_ordered(version, order.entry.ordered), *kept)
    return AsJudged(marked.model_copy(update={"limit": limits}), aside, order)


def limit_ordered(version: TypeVersion, ordered: Ordered) -> Limit:
    """Return an order as the limit that judges it.

    A start-to-open takes the form in which the type's own is judged, unpowered or in the bath.
    """
    if abs(ordered.lift_mm - version.unit_type.threshold_mm) > LIFT_MM:
        quantity = OPENING
    else:
        starts = (one.quantity for one in version.specification.limit if one.quantity in STARTS)
        plain, extrapolated = STARTS
        usual = extrapolated if version.unit_type.kind == "heater-assisted" else plain
        quantity = next(starts, usual)
    return Limit(
        quantity=quantity,
        nominal=ordered.wanted_c,
        tolerance=ordered.tolerance_k,
        threshold_mm=ordered.lift_mm,
    )


def ordered_in_words(ordered: Ordered, threshold_mm: float) -> str:
    """Return an order in one line, as it is printed beside the marking."""
    about = f"{plain(ordered.wanted_c)} ± {plain(ordered.tolerance_k)} °C"
    is_start = abs(ordered.lift_mm - threshold_mm) <= LIFT_MM
    what = "start-to-open" if is_start else f"{plain(ordered.lift_mm)} mm open"
    engine = ordered.engine_c
    runs = "" if engine is None else f", for an engine that shall run at {plain(engine)} °C"
    return "; ".join(filter(None, (f"{what} at {about}{runs}", ordered.text.strip())))


def changes_by(version: TypeVersion, order: Kept[Order]) -> tuple[str, ...]:
    """Return what an order changes, one line each."""
    asked = by_order(version, order)
    threshold_mm = version.unit_type.threshold_mm
    lines = [f"ordered: {ordered_in_words(order.entry.ordered, threshold_mm)}"]
    lines += [f"not judged by: {limit_in_words(one)} (the marking)" for one in asked.set_aside]
    return tuple(lines)


def put_order(
    shop: Shop,
    batch_name: str,
    ordered: Ordered,
    *,
    serial: str | None = None,
    stamp: Stamp,
    reason: str = "",
) -> int:
    """Put on record what was ordered of a batch, or of one unit of it; return its number.

    A `reason` corrects the order that holds instead. Refused while a certificate of a unit that it
    concerns stands, and for a lift or a temperature that the type cannot be judged at.
    """
    called = f"order of {serial or batch_name}"
    batch = shop.records.find(Batch, name=batch_name)
    if serial is None:
        unit_id, stories = None, batch_story(shop.records, batch_name)
    else:
        story = story_in(shop.records, batch_name, serial)
        unit_id, stories = story.unit.root, [story]
    version = shop.records.one(TypeVersion, batch.entry.type_version_id).entry
    faults = [*_faults(version.unit_type, ordered), *_standing(shop.records, stories, unit_id)]
    if faults:
        raise InputError(*(f"{called}: {fault}" for fault in faults))
    entry = made(Order, called, batch_id=batch.root, unit_id=unit_id, ordered=ordered)
    with shop.records.writing(stamp) as writer:
        if not reason:
            return writer.add(entry)
        known = _newest(writer.current(Order, batch_id=batch.root), unit_id)
        if known is None:
            raise InputError(f"{called}: none is on record; nothing to correct")
        writer.correct(known.root, entry, reason)
        return known.root


def _newest(orders: Iterable[Kept[Order]], unit_id: int | None) -> Kept[Order] | None:
    mine = [kept for kept in orders if kept.entry.unit_id == unit_id]
    return mine[-1] if mine else None


def _faults(unit_type: UnitType, ordered: Ordered) -> list[str]:
    """Why a type cannot be judged by an order."""
    faults, lift_mm = list[str](), ordered.lift_mm
    is_start = abs(lift_mm - unit_type.threshold_mm) <= LIFT_MM
    if not is_start and level_like(lift_mm) is None:
        levels = ", ".join(f"{level:g}" for level in LEVELS_MM)
        faults.append(
            f"a lift of {lift_mm:g} mm is not stated by a measurement; order the start-to-open at"
            f" {unit_type.threshold_mm:g} mm, or one of {levels} mm"
        )
    if lift_mm > unit_type.full_lift_mm:
        faults.append(
            f"{lift_mm:g} mm is more than the rated lift of {unit_type.name},"
            f" {unit_type.full_lift_mm:g} mm; order a smaller lift"
        )
    if ordered.bounds_c[1] > unit_type.cap_c:
        faults.append(
            f"{ordered.wanted_c:g} ± {ordered.tolerance_k:g} °C goes beyond what {unit_type.name}"
            f" stands, {unit_type.cap_c:g} °C (its cap_c); order a colder one"
        )
    return faults


def _standing(
    records: RecordsReader, stories: Iterable[UnitStory], unit_id: int | None
) -> list[str]:
    """Why certificates that stand forbid it: a unit with an order of its own is not concerned."""
    return [
        f"certificate {story.certificate} of {story.unit.entry.serial} stands, judged without it;"
        " withdraw it first"
        for story in stories
        if story.certificate is not None and (unit_id or not _has_own(records, story))
    ]


def _has_own(records: RecordsReader, story: UnitStory) -> bool:
    order = order_of(records, story)
    return order is not None and order.entry.unit_id is not None
