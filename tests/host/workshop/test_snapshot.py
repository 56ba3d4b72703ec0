"""A snapshot reads what the records read, and offers nothing else."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from host.workshop.ferry_shop import BATCH, FerryShop, ferry_shop
from proofbath.errors import InputError, RecordError
from proofbath.store.kinds import Batch, Decision, Intake, Loading, Person, Rework, Unit
from proofbath.store.records import Records, RecordsReader
from proofbath.workshop.snapshot import Snapshot
from proofbath.workshop.story import batch_story

READS = {"current", "history", "places", "one", "find", "name", "place", "head"}


@pytest.fixture
def ferry(tmp_path: Path) -> Iterator[FerryShop]:
    with ferry_shop(tmp_path) as made:
        made.batch(["A1", "A2"])
        yield made


def test_a_snapshot_answers_as_the_records_do(ferry: FerryShop) -> None:
    # the outside reference is the records' own answer to the same question
    records = ferry.shop.records
    snapshot = Snapshot(records)
    people = records.current(Person)
    assert people
    for kind in (Person, Batch, Unit, Intake, Loading):
        assert snapshot.current(kind) == records.current(kind)
    assert snapshot.find(Person, name=people[0].entry.name) == people[0]
    assert snapshot.one(Person, people[0].root) == people[0]
    assert snapshot.history(Person, people[0].root) == records.history(Person, people[0].root)
    assert snapshot.places(Person, Unit) == records.places(Person, Unit)
    assert (snapshot.name, snapshot.place) == (records.name, records.place)
    assert snapshot.head() == records.head()


def test_a_snapshot_refuses_what_the_records_refuse(ferry: FerryShop) -> None:
    for reader in (ferry.shop.records, Snapshot(ferry.shop.records)):
        with pytest.raises(InputError, match="has no person of name 'Nobody'"):
            reader.find(Person, name="Nobody")
        with pytest.raises(RecordError, match="there is no person 999"):
            reader.one(Person, 999)


def test_a_story_read_while_another_puts_something_on_record_is_as_it_was(
    ferry: FerryShop,
) -> None:
    """A night loaded between two readings of one snapshot belongs to the next one."""
    snapshot = Snapshot(ferry.shop.records)
    snapshot.places(Loading, Rework, Decision)
    ferry.night("as-found", {"A1": 82.0})
    (one, _) = batch_story(snapshot, BATCH)
    assert one.steps == ()
    (one, _) = batch_story(ferry.shop.records, BATCH)
    assert [step.stage for step in one.steps] == ["as-found"]


def test_a_snapshot_offers_reading_alone() -> None:
    assert {name for name in dir(Snapshot) if not name.startswith("_")} <= READS
    assert {name for name in vars(Records) if not name.startswith("_")} - READS


def test_a_reader_that_answers_only_a_part_cannot_be_made() -> None:
    class Half(RecordsReader):
        pass

    with pytest.raises(TypeError, match="abstract"):
        Half()  # type: ignore[abstract]
