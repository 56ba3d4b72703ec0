"""What comes in: unit types, units, batches, intake, reference units."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any, Self

from pydantic import model_validator

from proofbath.description import Described
from proofbath.errors import InputError
from proofbath.proof.rework_kind import Rework as ReworkKind
from proofbath.proof.specification import Specification, check_successor
from proofbath.run.unit_type import UnitType
from proofbath.store.kinds import Batch, Findings, Intake, ReferenceUnit, TypeVersion, Unit
from proofbath.store.records import Kept, RecordsReader, Stamp, Writer
from proofbath.workshop.entry import made
from proofbath.workshop.measured_values import STARTS
from proofbath.workshop.shop import Shop


class TypeFile(Described):
    """A TOML file of one unit type: figures, limits, and how it can be reworked where known."""

    unit_type: UnitType
    specification: Specification
    rework: ReworkKind | None = None

    @model_validator(mode="after")
    def _of_one_type(self) -> Self:
        if self.unit_type.name != self.specification.unit_type:
            raise ValueError(
                f"specification of {self.specification.unit_type} does not belong to"
                f" {self.unit_type.name}"
            )
        return self

    @model_validator(mode="after")
    def _aims_within_its_cap(self) -> Self:
        for limit in self.specification.limit:
            aim_c = limit.nominal if limit.nominal is not None else limit.bounds[0]
            if limit.quantity in STARTS and aim_c is not None and aim_c > self.unit_type.cap_c:
                raise ValueError(
                    f"{limit.quantity} aims at {aim_c:g} °C, but {self.unit_type.name} stands"
                    f" {self.unit_type.cap_c:g} °C at most (its cap_c); aim lower"
                )
        return self


def put_type(shop: Shop, type_file: TypeFile, stamp: Stamp) -> int:
    """Put a type on record if it changed, and return its version's number.

    Raises InputError where something changed and the specification's version did not rise.
    """
    version = TypeVersion.of(type_file.unit_type, type_file.specification, type_file.rework)
    with shop.records.writing(stamp) as writer:
        earlier = writer.current(TypeVersion, name=version.name)
        newest = max(earlier, key=lambda kept: kept.entry.version, default=None)
        if newest is None:
            return writer.add(version)
        if newest.entry == version:
            return newest.root
        check_successor(version.specification, newest.entry.specification)
        if version.version <= newest.entry.version:
            raise InputError(
                f"type {version.name}: changed, but version {version.version} is not above"
                f" {newest.entry.version}; raise the specification's version"
            )
        return writer.add(version)


def newest_type(records: RecordsReader, name: str) -> Kept[TypeVersion]:
    """Return the newest version of a type; raises InputError for one that is not on record."""
    versions = records.current(TypeVersion, name=name)
    if not versions:
        raise InputError(f"type {name!r}: not on record; put its file on record first")
    return max(versions, key=lambda kept: kept.entry.version)


def add_unit(shop: Shop, unit: Unit, stamp: Stamp) -> int:
    """Put a unit on record and return its number; its type must be there."""
    newest_type(shop.records, unit.unit_type)
    return shop.records.add(unit, stamp)


def open_batch(
    shop: Shop,
    name: str,
    customer: str,
    *,
    address: Sequence[str],
    contact: str,
    received: dt.date,
    type_name: str,
    stamp: Stamp,
) -> int:
    """Open a batch, frozen to the newest version of its type, and return its number."""
    if received > stamp.day:
        raise InputError(
            f"batch {name}: received {received}, today is {stamp.day}; give the true day"
        )
    version = newest_type(shop.records, type_name)
    batch = made(
        Batch,
        f"batch {name}",
        name=name,
        customer=customer,
        customer_address=tuple(address),
        customer_contact=contact,
        received=received,
        type_version_id=version.root,
        fingerprint=version.entry.fingerprint,
    )
    return shop.records.add(batch, stamp)


def take_in(
    shop: Shop,
    batch_name: str,
    serial: str,
    *,
    cause: str,
    findings: Findings,
    accepted: bool,
    remark: str,
    stamp: Stamp,
    reason: str = "",
) -> int:
    """Take a unit into a batch, or refuse it, and return the intake's number.

    A `reason` corrects an intake that is on record.  Raises InputError for a unit of another type,
    one taken in twice, or a finding that the type cannot have.
    """
    unit = shop.records.find(Unit, serial=serial)
    batch = shop.records.find(Batch, name=batch_name)
    with shop.records.writing(stamp) as writer:
        fields = {"cause": cause, "findings": findings, "accepted": accepted, "remark": remark}
        return put_intake(writer, unit, batch, fields, reason)


def put_intake(
    writer: Writer, unit: Kept[Unit], batch: Kept[Batch], fields: dict[str, Any], reason: str = ""
) -> int:
    """Write one intake within a transaction, checked as `take_in` says."""
    called = f"{unit.entry.serial} into {batch.entry.name}"
    keys = {"unit_id": unit.root, "batch_id": batch.root}
    intake = made(Intake, called, **keys, **fields)
    version = next(
        v.entry for v in writer.current(TypeVersion) if v.root == batch.entry.type_version_id
    )
    if unit.entry.unit_type != version.name:
        raise InputError(
            f"{called}: is a {unit.entry.unit_type}, the batch is of {version.name};"
            " open a batch of its type"
        )
    if intake.findings.heater_ohm is not None and version.unit_type.element_ohm is None:
        raise InputError(f"{called}: a {version.name} has no heater; leave heater_ohm out")
    if intake.accepted and reference_in_use(writer, unit.root) is not None:
        raise InputError(
            f"{called}: is a reference unit; retire it first (proofbath unit reference --retire)"
        )
    before = writer.current(Intake, unit_id=unit.root)
    if intake.cause == "new" and any(i.entry.batch_id != batch.root for i in before):
        raise InputError(f"{called}: was here before, so it is not new; say returned or rework")
    here = [i for i in before if i.entry.batch_id == batch.root]
    if not here:
        return writer.add(intake)
    if not reason.strip():
        raise InputError(f"{called}: taken in already; correct that intake and say why")
    writer.correct(here[0].root, intake, reason)
    return here[0].root


def reference_in_use(records: RecordsReader | Writer, unit_id: int) -> Kept[ReferenceUnit] | None:
    """Return the newest word on a reference unit; None where it is none, or no longer one."""
    said = records.current(ReferenceUnit, unit_id=unit_id)
    newest = max(said, key=lambda kept: (kept.entry.since, kept.root), default=None)
    return newest if newest is not None and newest.entry.in_use else None


def set_reference(
    shop: Shop, serial: str, since: dt.date, text: str, stamp: Stamp, in_use: bool = True
) -> int:
    """Make a unit a reference unit from a day on, or no longer, and return the entry's number.

    Its chart begins anew on that day.
    """
    unit = shop.records.find(Unit, serial=serial)
    if since > stamp.day:
        raise InputError(f"reference {serial}: since {since}, today is {stamp.day}")
    entry = made(
        ReferenceUnit,
        f"reference {serial}",
        unit_id=unit.root,
        since=since,
        in_use=in_use,
        text=text,
    )
    return shop.records.add(entry, stamp)
