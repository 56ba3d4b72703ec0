"""Lists of units as CSV: read whole with every fault told, taken in whole or not at all."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from host.workshop.ferry_shop import BATCH, FerryShop, ferry_shop
from proofbath.errors import InputError
from proofbath.store.kinds import Intake, Unit
from proofbath.workshop.story import batch_story
from proofbath.workshop.unit_list import COLUMNS, import_units, read_unit_list

LIST = """serial,cause,customer_mark,supplier_lot,accepted,cracks,remark
T82-0101,,port aft,L7,,good,
T82-0102,returned,,,no,bad,"cracked at the seat, again"
"""


@pytest.fixture
def ferry(tmp_path: Path) -> Iterator[FerryShop]:
    with ferry_shop(tmp_path) as made:
        made.batch([])
        yield made


def test_a_list_is_read_with_what_is_usual_where_nothing_is_said() -> None:
    first, second = read_unit_list(LIST, "units.csv")
    assert (first.serial, first.cause, first.accepted) == ("T82-0101", "rework", True)
    assert (first.customer_mark, first.supplier_lot, first.findings.cracks) == (
        "port aft",
        "L7",
        "good",
    )
    assert (second.cause, second.accepted, second.remark) == (
        "returned",
        False,
        "cracked at the seat, again",
    )


def test_spreadsheets_of_all_countries_write_the_same_list() -> None:
    """Semicolons, a byte order mark, CR LF and capitals in the header change nothing."""
    other = "\ufeff" + LIST.replace("seat, again", "seat again").replace(",", ";")
    other = other.replace("serial", "Serial").replace("\n", "\r\n")
    wanted = read_unit_list(LIST.replace("seat, again", "seat again"), "units.csv")
    assert read_unit_list(other, "units.csv") == wanted


def test_every_fault_is_told_in_one_pass() -> None:
    text = (
        "serial,cause,accepted,cracks,heater_ohm\n"
        "A1,,,,\n,new,,,\nA3,lost,maybe,broken,9 ohm\nA1,,,,\nA5,,,,,,\n"
    )
    with pytest.raises(InputError) as caught:
        read_unit_list(text, "units.csv")
    assert [fault.partition(";")[0] for fault in caught.value.faults] == [
        "units.csv, line 3: has no serial",
        "units.csv, line 4: cracks is 'broken'",
        "units.csv, line 4: heater_ohm is '9 ohm'",
        "units.csv, line 4: cause is 'lost'",
        "units.csv, line 4: accepted is 'maybe'",
        "units.csv, line 5: A1 stands in line 2 already",
        "units.csv, line 6: more cells than the header has columns",
    ]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "has no column 'serial'"),
        ("serial\n", "0 units, 1 to 2000 wanted"),
        ("serial,cuase\nA1,new\n", "column 'cuase' is not known; did you mean 'cause'"),
        ("serial,serial\nA1,A1\n", "column 'serial' stands twice"),
        ("serial\n" + 140_000 * "A", "line 1: not CSV: field larger than"),
        ('serial\n"A1\nA2\n', "not CSV: unexpected end of data"),
    ],
)
def test_what_is_no_unit_list_is_refused(text: str, words: str) -> None:
    with pytest.raises(InputError, match=words):
        read_unit_list(text, "units.csv")


def test_a_list_is_taken_in(ferry: FerryShop) -> None:
    taken = import_units(ferry.shop, BATCH, read_unit_list(LIST, "units.csv"), ferry.stamp)
    stories = batch_story(ferry.shop.records, BATCH)
    assert [s.intake.root for s in stories] == taken
    assert [s.unit.entry.serial for s in stories] == ["T82-0101", "T82-0102"]
    assert stories[0].unit.entry.supplier_lot == "L7"
    assert [s.intake.entry.accepted for s in stories] == [True, False]


def test_all_of_a_list_is_taken_in_or_nothing(ferry: FerryShop) -> None:
    text = LIST + "T82-0103,,,,,bad,\nbad serial!,,,,,,\nT82-0104,,,,,,\n"
    lines = read_unit_list(text, "units.csv")
    units = len(ferry.shop.records.current(Unit))
    with pytest.raises(InputError) as caught:
        import_units(ferry.shop, BATCH, lines, ferry.stamp)
    assert len(caught.value.faults) == 2
    assert "line 4: T82-0103 into ferry 12: accepted with cracks bad" in caught.value.faults[0]
    assert "line 5: bad serial!: serial" in caught.value.faults[1]
    assert len(ferry.shop.records.current(Unit)) == units
    assert ferry.shop.records.current(Intake) == []


def test_columns_cover_unit_intake_and_findings() -> None:
    assert {"serial", "cause", "accepted", "remark", "wax_seep", "heater_ohm"} <= {*COLUMNS}
