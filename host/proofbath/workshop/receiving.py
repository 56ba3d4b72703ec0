"""A unit that came in: put on record where it is new, and taken into a batch, or neither."""

from __future__ import annotations

from typing import Any

from proofbath.errors import InputError
from proofbath.store.kinds import Batch, TypeVersion, Unit
from proofbath.store.records import Stamp
from proofbath.workshop.entry import made
from proofbath.workshop.intake import put_intake
from proofbath.workshop.shop import Shop


def receive(
    shop: Shop,
    batch_name: str,
    serial: str,
    *,
    fields: dict[str, Any],
    new: bool,
    stamp: Stamp,
    reason: str = "",
) -> int:
    """Put an intake on record, a `new` unit together with it, and return the intake's number.

    `fields` are those of the intake; a `reason` corrects one that is on record.  Raises InputError
    where a unit that is said to be new is known, or one that is not is unknown.
    """
    check_known(shop, serial, new)
    batch = shop.records.find(Batch, name=batch_name)
    type_name = shop.records.one(TypeVersion, batch.entry.type_version_id).entry.name
    with shop.records.writing(stamp) as writer:
        if new:
            writer.add(made(Unit, f"unit {serial}", serial=serial, unit_type=type_name))
        (unit,) = writer.current(Unit, serial=serial)
        return put_intake(writer, unit, batch, fields, reason)


def check_known(shop: Shop, serial: str, new: bool) -> None:
    """Refuse a new unit under a serial that is on record, and an old one under one that is not."""
    known = bool(shop.records.current(Unit, serial=serial))
    if known and new:
        raise InputError(f"{serial}: is on record already; it is not new")
    if not known and not new:
        raise InputError(f"{serial}: is not on record; read its tag again, or say that it is new")
