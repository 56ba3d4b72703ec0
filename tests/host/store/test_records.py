"""Records: kept as written, corrected by new rows only, changes found; on both databases."""

from __future__ import annotations

import hashlib
import os
import signal
import sqlite3
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from pydantic import ValidationError
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from host.store.conftest import EVERYWHERE
from host.store.shop import AT, TEAL_82, certifier, small_shop, specification
from proofbath.errors import InputError, RecordError
from proofbath.store.chain import START, Link
from proofbath.store.kinds import KINDS, Batch, Findings, Intake, Person, TypeVersion, Unit
from proofbath.store.records import Records, Stamp
from proofbath.store.schema import RECORD_TABLES, TABLES
from proofbath.store.tables import Place

everywhere = pytest.mark.parametrize("place", EVERYWHERE, indirect=True)


@pytest.fixture
def records(tmp_path: Path) -> Records:
    return Records(tmp_path / "shop.db")


@everywhere
def test_what_was_written_comes_back(place: Place) -> None:
    stamp = small_shop(Records(place))
    again = Records(place)
    (intake,) = again.current(Intake)
    assert (intake.at, intake.by, intake.reason) == (AT, stamp.by, "")
    assert intake.entry.findings.cracks == "good"
    assert intake.entry.findings.heater_ohm is None
    version = again.one(TypeVersion, again.current(Batch)[0].entry.type_version_id).entry
    assert (version.unit_type, version.specification) == (TEAL_82, specification())
    assert version.specification.fingerprint() == again.current(Batch)[0].entry.fingerprint


@everywhere
def test_a_correction_is_a_new_row_with_its_reason(place: Place) -> None:
    records = Records(place)
    stamp = small_shop(records)
    (unit,) = records.current(Unit)
    meant = unit.entry.model_copy(update={"customer_mark": "engine 3"})
    records.correct(unit.root, meant, "mark was forgotten", stamp)
    assert [kept.entry for kept in records.history(Unit, unit.root)] == [unit.entry, meant]
    assert records.one(Unit, unit.root).reason == "mark was forgotten"
    assert records.find(Unit, customer_mark="engine 3").root == unit.root
    assert records.current(Unit, customer_mark="") == []
    with pytest.raises(InputError, match="needs its reason"):
        records.correct(unit.root, meant, " ", stamp)


@everywhere
def test_the_database_itself_refuses_changes(place: Place) -> None:
    records = Records(place)
    small_shop(records)
    for table in RECORD_TABLES:
        acts = [
            f"UPDATE {table.name} SET {table.columns[1].name} = 'x'",
            f"DELETE FROM {table.name}",
        ]
        if table.name in ("unit", "link"):  # tables with rows: triggers of rows need some
            for act in acts:
                with (
                    records._database.engine.connect() as raw,
                    pytest.raises(DBAPIError, match="what is on record stays"),
                ):
                    raw.execute(text(act))
    assert records.verify().records == 5


def test_every_table_is_guarded_on_sqlite(records: Records) -> None:
    with records._database.reading() as raw:
        found = {
            name
            for (name,) in raw.execute(text("SELECT name FROM sqlite_master WHERE type='trigger'"))
        }
    wanted = {f"{t.name}_no_{act}" for t in RECORD_TABLES for act in ("update", "delete", "insert")}
    assert found == wanted


def test_a_row_cannot_be_replaced(records: Records) -> None:
    small_shop(records)
    with (
        sqlite3.connect(str(records.place)) as raw,
        pytest.raises(sqlite3.IntegrityError, match="stays"),
    ):
        raw.execute("INSERT OR REPLACE INTO unit SELECT * FROM unit")


@everywhere
def test_a_table_cannot_be_emptied(place: Place) -> None:
    records = Records(place)
    small_shop(records)
    act = "TRUNCATE intake" if isinstance(place, str) else "DELETE FROM intake"
    with records._database.engine.connect() as raw, pytest.raises(DBAPIError, match="stays"):
        raw.execute(text(act))


def test_the_chain_is_the_sha256_it_claims_to_be(records: Records) -> None:
    certifier(records)
    row = (
        f'["{"0" * 64}",1,"person",{{"active":true,"at":"{AT}","id":1,'
        '"name":"Ada Quay","rights":"[\\"certifier\\"]"}]'
    )
    assert records.head() == Link(1, hashlib.sha256(row.encode()).hexdigest())


@pytest.mark.parametrize(
    ("change", "found"),
    [
        ("UPDATE unit SET serial = 'T82-0102'", "unit 1 or its link was changed"),
        ("UPDATE person SET rights = '[]'", "person 1 or its link was changed"),
        ("UPDATE batch SET at = '2020-01-01'", "batch 1 or its link was changed"),
        ("DELETE FROM intake", "intake 1 is lost"),
        ("DELETE FROM link WHERE number = 2", "was changed"),
        ("DELETE FROM link WHERE number = 5", "intake 1 has no link"),
        ("DELETE FROM link", "has no link"),
        ("UPDATE link SET digest = substr(digest, 2) || '0' WHERE number = 3", "was changed"),
        (
            "INSERT INTO unit VALUES (9, 'x', 1, NULL, NULL, 'T82-9', 'Teal-82', '', '', NULL)",
            "unit 9 has no link",
        ),
    ],
)
def test_a_change_behind_the_databases_back_is_found(
    records: Records, change: str, found: str
) -> None:
    small_shop(records)
    with sqlite3.connect(str(records.place)) as raw:
        for (name,) in raw.execute(
            "SELECT name FROM sqlite_master WHERE type = 'trigger'"
        ).fetchall():
            raw.execute(f"DROP TRIGGER {name}")
        raw.execute(change)
    with pytest.raises(RecordError, match=found):
        records.verify()


def test_a_cut_end_is_found_by_a_link_kept_elsewhere(records: Records) -> None:
    small_shop(records)
    known = records.head()
    assert records.verify(known).head == known
    assert records.verify(START).records == 5
    with sqlite3.connect(str(records.place)) as raw:
        for name in ("intake_no_delete", "link_no_delete"):
            raw.execute(f"DROP TRIGGER {name}")
        raw.executescript("DELETE FROM intake; DELETE FROM link WHERE number = 5")
    assert records.verify().records == 4
    with pytest.raises(RecordError, match="the end was cut off"):
        records.verify(known)


@everywhere
def test_all_entries_of_a_writing_are_kept_or_none(place: Place) -> None:
    records = Records(place)
    stamp = small_shop(records)

    def write_two() -> None:
        with records.writing(stamp) as writer:
            writer.add(Unit(serial="T82-0200", unit_type="Teal-82"))
            writer.add(Unit(serial="T82-0101", unit_type="Teal-82"))

    with pytest.raises(InputError, match="on record already"):
        write_two()
    assert [kept.entry.serial for kept in records.current(Unit)] == ["T82-0101"]
    assert records.verify().records == 5


@everywhere
def test_writers_at_the_same_time_make_one_chain(place: Place) -> None:
    stamp = small_shop(Records(place))

    def write(name: str) -> None:
        mine = Records(place)
        for n in range(10):
            mine.add(Unit(serial=f"{name}-{n}", unit_type="Teal-82"), stamp)
        mine.close()

    writers = [threading.Thread(target=write, args=(name,)) for name in ("A", "B", "C")]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    records = Records(place)
    assert records.verify().records == 35
    assert len(records.current(Unit)) == 31


@everywhere
def test_the_chain_may_be_verified_while_others_write(place: Place) -> None:
    stamp = small_shop(Records(place))
    records = Records(place)

    def write() -> None:
        mine = Records(place)
        for n in range(40):
            mine.add(Unit(serial=f"U-{n}", unit_type="Teal-82"), stamp)
        mine.close()

    writer = threading.Thread(target=write)
    writer.start()
    seen = []
    while writer.is_alive():
        seen.append(records.verify().records)
    writer.join()
    assert seen == sorted(seen)
    assert records.verify().records == 45


def test_what_may_not_be_shared_is_refused(records: Records) -> None:
    stamp = small_shop(records)
    with pytest.raises(InputError, match="serial T82-0101 is on record already"):
        records.add(Unit(serial="T82-0101", unit_type="Teal-82"), stamp)
    with pytest.raises(InputError, match="name Teal-82, version 1 is on record already"):
        records.add(TypeVersion.of(TEAL_82, specification(1, 3.0)), stamp)
    assert records.add(TypeVersion.of(TEAL_82, specification(2, 3.0)), stamp) == 2


def test_who_may_write_what(records: Records) -> None:
    with pytest.raises(InputError, match="first person on record must be certifier"):
        records.add(Person(name="Bo", rights=("operator",)), Stamp(AT))
    chief = certifier(records)
    with pytest.raises(InputError, match="say who"):
        records.add(Person(name="Bo", rights=("operator",)), Stamp(AT))
    operator = Stamp(AT, records.add(Person(name="Bo", rights=("operator",)), chief))
    records.add(Unit(serial="A", unit_type="Teal-82"), operator)
    with pytest.raises(InputError, match="Bo has not the right certifier"):
        records.add(TypeVersion.of(TEAL_82, specification()), operator)
    assert operator.by is not None
    records.correct(
        operator.by, Person(name="Bo", rights=("operator",), active=False), "left", chief
    )
    with pytest.raises(InputError, match="Bo has not the right"):
        records.add(Unit(serial="B", unit_type="Teal-82"), operator)
    with pytest.raises(InputError, match="there is no person 9"):
        records.add(Unit(serial="B", unit_type="Teal-82"), Stamp(AT, 9))


def test_a_reference_to_nothing_is_refused(records: Records) -> None:
    stamp = small_shop(records)
    (intake,) = records.current(Intake)
    with pytest.raises(InputError, match="there is no unit 7"):
        records.add(intake.entry.model_copy(update={"unit_id": 7}), stamp)
    with pytest.raises(RecordError, match="there is no intake 4"):
        records.one(Intake, 4)
    with pytest.raises(InputError, match="has no unit of serial 'Z'"):
        records.find(Unit, serial="Z")
    with pytest.raises(InputError, match="holds a NUL"):
        records.add(Unit(serial="N", unit_type="Teal-82", customer_mark="a\0b"), stamp)


@pytest.mark.parametrize(
    "wrong",
    [
        {"accepted": False},
        {"findings": Findings(cracks="bad")},
        {"cause": "because"},
    ],
)
def test_an_intake_explains_itself(wrong: dict[str, object]) -> None:
    good = {"unit_id": 1, "batch_id": 1, "cause": "returned", "findings": {}, "accepted": True}
    Intake.model_validate(good)
    with pytest.raises(ValidationError):
        Intake.model_validate(good | wrong)


def test_kinds_come_after_what_they_refer_to() -> None:
    seen = {"run"}
    for kind in KINDS:
        seen.add(kind.table)
        assert {key.column.table.name for key in TABLES[kind].foreign_keys} <= seen


def test_a_full_disk_is_told_and_loses_nothing(records: Records) -> None:
    stamp = small_shop(records)
    with records._database.engine.connect() as raw:
        pages = raw.exec_driver_sql("pragma page_count").scalar_one()
        raw.exec_driver_sql(f"pragma max_page_count = {pages}")
    written = 5

    def write_much() -> None:
        nonlocal written
        for n in range(20):
            records.add(
                Unit(serial=f"X{n}", unit_type="Teal-82", customer_mark="long " * 400), stamp
            )
            written += 1

    with pytest.raises(RecordError, match="the disk is full"):
        write_much()
    assert records.verify().records == written


KILLED = """
import sys
from pathlib import Path
from host.store.shop import small_shop
from proofbath.store.kinds import Unit
from proofbath.store.records import Records
records = Records(Path(sys.argv[1]))
stamp = small_shop(records)
for n in range(10**9):
    with records.writing(stamp) as writer:
        writer.add(Unit(serial=f"A{n}", unit_type="Teal-82"))
        writer.add(Unit(serial=f"B{n}", unit_type="Teal-82"))
    print(n, flush=True)
"""


def test_a_killed_process_leaves_whole_writings(tmp_path: Path) -> None:
    path = tmp_path / "shop.db"
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)}
    with subprocess.Popen(
        [sys.executable, "-c", KILLED, str(path)], stdout=subprocess.PIPE, env=environment
    ) as process:
        assert process.stdout is not None
        seen = [int(process.stdout.readline()) for _ in range(10)]
        process.send_signal(signal.SIGKILL)
        seen += [int(line) for line in process.stdout.read().split(b"\n")[:-1]]
    records = Records(path)
    serials = {kept.entry.serial for kept in records.current(Unit)} - {"T82-0101"}
    assert serials >= {f"{letter}{n}" for n in seen for letter in "AB"}
    assert len(serials) % 2 == 0
    assert records.verify().records == 5 + len(serials)
