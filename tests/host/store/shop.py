"""A small workshop on record, for the store's tests. All of it is invented."""

from __future__ import annotations

import datetime as dt

from proofbath.proof.specification import Limit, Specification
from proofbath.run.unit_type import UnitType
from proofbath.store.kinds import Batch, Findings, Intake, Person, TypeVersion, Unit
from proofbath.store.records import Records, Stamp

AT = "2025-10-01T18:00:00+00:00"
TEAL_82 = UnitType(
    name="Teal-82", nominal_start_to_open_c=82, full_open_c=95, full_lift_mm=8, cap_c=103
)


def specification(version: int = 1, tolerance: float = 2.0) -> Specification:
    limit = Limit(quantity="start_to_open_c", nominal=82.0, tolerance=tolerance, threshold_mm=0.1)
    return Specification(unit_type="Teal-82", version=version, limit=(limit,))


def certifier(records: Records) -> Stamp:
    """Write the first person and return what is written in her name."""
    by = records.add(Person(name="Ada Quay", rights=("certifier",)), Stamp(AT))
    return Stamp(AT, by)


def small_shop(records: Records) -> Stamp:
    """One type, one batch, one unit taken in."""
    stamp = certifier(records)
    version = TypeVersion.of(TEAL_82, specification())
    type_id = records.add(version, stamp)
    batch = Batch(
        name="ferry 12",
        customer="River Ferry Ltd",
        received=dt.date(2025, 10, 1),
        type_version_id=type_id,
        fingerprint=version.fingerprint,
    )
    batch_id = records.add(batch, stamp)
    unit_id = records.add(Unit(serial="T82-0101", unit_type="Teal-82"), stamp)
    looked = Findings(identity="good", cracks="good", heater_ohm=None)
    intake = Intake(
        unit_id=unit_id, batch_id=batch_id, cause="rework", findings=looked, accepted=True
    )
    records.add(intake, stamp)
    return stamp
