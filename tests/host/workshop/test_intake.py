"""Types, units, batches and intake on record, and what of it is refused."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from host.workshop.ferry_shop import (
    BATCH,
    GOOD,
    HERON_103,
    REFERENCE,
    TEAL_82,
    FerryShop,
    ferry_shop,
)
from proofbath.description import parse_toml
from proofbath.errors import InputError
from proofbath.store.kinds import Batch, Findings, Intake, TypeVersion, Unit
from proofbath.store.records import Stamp
from proofbath.workshop.intake import (
    TypeFile,
    add_unit,
    newest_type,
    open_batch,
    put_type,
    reference_in_use,
    set_reference,
    take_in,
)


@pytest.fixture
def ferry(tmp_path: Path) -> Iterator[FerryShop]:
    with ferry_shop(tmp_path) as made:
        yield made


def changed(version: int, **figures: Any) -> TypeFile:
    return TypeFile(
        unit_type=TEAL_82.unit_type.model_copy(update=figures),
        specification=TEAL_82.specification.model_copy(update={"version": version}),
        rework=TEAL_82.rework,
    )


def test_a_type_gets_a_version_only_where_it_changed(ferry: FerryShop) -> None:
    first = newest_type(ferry.shop.records, "Teal-82")
    assert put_type(ferry.shop, TEAL_82, ferry.stamp) == first.root
    with pytest.raises(InputError, match="version 1 is not above 1; raise"):
        put_type(ferry.shop, changed(1, full_lift_mm=7.0), ferry.stamp)
    second = put_type(ferry.shop, changed(2, full_lift_mm=7.0), ferry.stamp)
    assert newest_type(ferry.shop.records, "Teal-82").root == second
    assert len(ferry.shop.records.current(TypeVersion, name="Teal-82")) == 2


def test_a_types_file_holds_figures_limits_and_rework() -> None:
    text = """
    [unit_type]
    name = "Teal-82"
    nominal_start_to_open_c = 82
    full_open_c = 95
    full_lift_mm = 8
    cap_c = 103
    [specification]
    unit_type = "Teal-82"
    version = 3
    [[specification.limit]]
    quantity = "start_to_open_c"
    nominal = 82
    tolerance = 2
    threshold_mm = 0.1
    [rework]
    kind = "refillable"
    """
    assert parse_toml(text, TypeFile, "teal_82.toml").specification.version == 3
    with pytest.raises(InputError, match=r"aims at 150 °C, but Teal-82 stands 1\d\d °C at most"):
        parse_toml(text.replace("nominal = 82", "nominal = 150"), TypeFile, "teal_82.toml")
    with pytest.raises(InputError, match="Wigeon-90 does not belong to Teal-82"):
        parse_toml(
            text.replace('unit_type = "Teal-82"', 'unit_type = "Wigeon-90"'),
            TypeFile,
            "teal_82.toml",
        )


def test_a_batch_is_frozen_to_the_newest_version(ferry: FerryShop) -> None:
    put_type(ferry.shop, changed(2), ferry.stamp)
    ferry.batch(["A1"])
    put_type(ferry.shop, changed(3), ferry.stamp)
    batch = ferry.shop.records.find(Batch, name=BATCH).entry
    frozen = ferry.shop.records.one(TypeVersion, batch.type_version_id).entry
    assert (frozen.version, frozen.fingerprint) == (2, batch.fingerprint)


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"received": dt.date(2025, 10, 2)}, "received 2025-10-02, today is 2025-10-01"),
        ({"type_name": "Wigeon-90"}, "type 'Wigeon-90': not on record"),
        ({"customer": " "}, "batch ferry 13: customer"),
        ({"name": ""}, "name: string should have at least 1"),
    ],
)
def test_a_batch_that_cannot_be_is_refused(
    ferry: FerryShop, fields: dict[str, Any], words: str
) -> None:
    usual: dict[str, Any] = {
        "name": "ferry 13",
        "customer": "River Ferry Ltd",
        "address": ["Pier 2"],
        "contact": "",
        "received": ferry.day,
        "type_name": "Teal-82",
    }
    with pytest.raises(InputError, match=words):
        open_batch(ferry.shop, **usual | fields, stamp=ferry.stamp)
    assert ferry.shop.records.current(Batch) == []


def test_a_unit_needs_its_type_on_record_and_a_serial_of_its_own(ferry: FerryShop) -> None:
    add_unit(ferry.shop, Unit(serial="A1", unit_type="Teal-82"), ferry.stamp)
    with pytest.raises(InputError, match="serial A1 is on record already"):
        add_unit(ferry.shop, Unit(serial="A1", unit_type="Teal-82"), ferry.stamp)
    with pytest.raises(InputError, match="type 'Wigeon-90': not on record"):
        add_unit(ferry.shop, Unit(serial="A2", unit_type="Wigeon-90"), ferry.stamp)


CASES: list[tuple[str, dict[str, Any], str]] = [
    ("H1", {}, "is a Heron-103, the batch is of Teal-82; open a batch of its type"),
    ("A9", {"findings": Findings(heater_ohm=9.0)}, "a Teal-82 has no heater"),
    ("A1", {}, "taken in already; correct that intake"),
    (REFERENCE, {}, "is a reference unit; retire it first"),
    ("A9", {"cause": "lost"}, "cause: input should be"),
    ("A9", {"accepted": False}, "a refused unit needs the reason in its remark"),
    ("A9", {"findings": Findings(cracks="bad")}, "accepted with cracks bad"),
]


@pytest.mark.parametrize(("serial", "fields", "words"), CASES)
def test_an_intake_that_cannot_be_is_refused(
    ferry: FerryShop, serial: str, fields: dict[str, Any], words: str
) -> None:
    ferry.batch(["A1"])
    add_unit(ferry.shop, Unit(serial="A9", unit_type="Teal-82"), ferry.stamp)
    add_unit(ferry.shop, Unit(serial="H1", unit_type="Heron-103"), ferry.stamp)
    usual = {"cause": "rework", "findings": GOOD, "accepted": True, "remark": ""} | fields
    with pytest.raises(InputError, match=words):
        take_in(ferry.shop, BATCH, serial, **usual, stamp=ferry.stamp)
    assert len(ferry.shop.records.current(Intake)) == 1


def test_an_intake_is_corrected_with_a_reason(ferry: FerryShop) -> None:
    ferry.batch(["A1"])
    before = ferry.shop.records.current(Intake)[0]
    looked = Findings(cracks="bad")
    again = take_in(
        ferry.shop,
        BATCH,
        "A1",
        cause="rework",
        findings=looked,
        accepted=False,
        remark="frame cracked",
        stamp=ferry.stamp,
        reason="seen late",
    )
    now = ferry.shop.records.one(Intake, before.root)
    assert (again, now.entry.accepted, now.reason) == (before.root, False, "seen late")


def test_a_unit_that_was_here_before_is_not_new(ferry: FerryShop) -> None:
    ferry.batch(["A1"])
    ferry.batch([], "ferry 13")
    with pytest.raises(InputError, match="was here before, so it is not new"):
        take_in(
            ferry.shop,
            "ferry 13",
            "A1",
            cause="new",
            findings=GOOD,
            accepted=True,
            remark="",
            stamp=ferry.stamp,
        )
    take_in(
        ferry.shop,
        "ferry 13",
        "A1",
        cause="returned",
        findings=GOOD,
        accepted=True,
        remark="",
        stamp=ferry.stamp,
    )


def test_a_reference_unit_can_be_set_and_laid_aside(ferry: FerryShop) -> None:
    unit = ferry.shop.records.find(Unit, serial=REFERENCE).root
    assert reference_in_use(ferry.shop.records, unit) is not None
    with pytest.raises(InputError, match="since 2025-10-05, today is 2025-10-01"):
        set_reference(ferry.shop, REFERENCE, dt.date(2025, 10, 5), "", ferry.stamp)
    set_reference(ferry.shop, REFERENCE, ferry.day, "dropped", ferry.stamp, in_use=False)
    assert reference_in_use(ferry.shop.records, unit) is None


def test_nobody_writes_without_the_right(ferry: FerryShop) -> None:
    with pytest.raises(InputError, match="say who; it needs the right certifier"):
        put_type(ferry.shop, changed(2), Stamp(ferry.at))
    assert HERON_103.unit_type.name == newest_type(ferry.shop.records, "Heron-103").entry.name
