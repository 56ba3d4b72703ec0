"""Each fault of the hazard table, in each part of a night: outputs, journal and exit status."""

from __future__ import annotations

import pytest

from proofbath.store.journal import Journal
from proofbath.virtual.bench import VirtualBench
from proofbath.virtual.native import fault_kinds
from proofbath.wire.hazard_rows import nights_of_faults
from proofbath.wire.hazards import Fault, Link, Part
from system.fault_night import Faulty, check_end, description


@pytest.fixture(scope="module")
def journal(tmp_path_factory: pytest.TempPathFactory) -> Journal:
    return Journal(tmp_path_factory.mktemp("matrix") / "journal.sqlite")


CELLS = [(row, part) for row in nights_of_faults() for part in Part]


@pytest.mark.parametrize(
    ("row", "part"), CELLS, ids=[f"{r.kind}-{r.size:g}-{p.value}" for r, p in CELLS]
)
def test_a_fault_ends_as_it_must(row: Fault | Link, part: Part, journal: Journal) -> None:
    virtual = description().virtual
    assert virtual is not None
    check_end(Faulty(row, part, VirtualBench(virtual)), journal)


def test_the_table_has_every_fault_the_plant_knows_once_a_size() -> None:
    faults = [row for row in nights_of_faults() if isinstance(row, Fault)]
    assert {row.kind for row in faults} == set(fault_kinds())
    assert len({(row.kind, row.size) for row in faults}) == len(faults)
