"""The journal: what was committed comes back bit for bit, and a change is found."""

from __future__ import annotations

import hashlib
import os
import signal
import sqlite3
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from host.bench.samples import sample
from proofbath.errors import BenchFaultError, RecordError
from proofbath.store.journal import OPEN, EventLine, Journal, RunHead, RunWriter
from proofbath.store.row import ROW, ROW_TEXT, pack
from proofbath.wire.line import flat
from proofbath.wire.table import Sample, fields_of

NEW = ("stop_reason", "causes")
HEAD = RunHead("2025-10-01T18:00:00+00:00", "quay", "plan", "bench", "{}", "{}")


@pytest.fixture
def journal(tmp_path: Path) -> Journal:
    return Journal(tmp_path / "night.db")


def write_run(journal: Journal, chunks: int = 3) -> RunWriter:
    writer = journal.begin(HEAD)
    for n in range(chunks):
        writer.append(sample(sequence=2 * n))
        writer.append(sample(sequence=2 * n + 1))
        writer.note(0.2 * n, "gap", f"{n} samples lost")
        writer.commit()
    return writer


@given(
    st.tuples(*[st.integers(r.low, r.high) for _, r in fields_of(Sample) for _ in range(r.count)])
)
def test_a_row_keeps_every_number_of_its_sample(numbers: tuple[int, ...]) -> None:
    parts, at = [], 0
    for _, field in fields_of(Sample):
        part = numbers[at : at + field.count]
        parts.append(part if field.count > 1 else part[0])
        at += field.count
    row = np.frombuffer(pack(Sample._make(parts)), ROW)[0]
    back = [n for name, _ in fields_of(Sample) for n in np.ravel(row[name]).tolist()]
    assert tuple(back) == numbers == flat(Sample._make(parts))


def test_a_run_comes_back_as_it_was_written(journal: Journal) -> None:
    writer = write_run(journal)
    writer.close(0.6, "done", "profile complete")
    rows = journal.samples(writer.run_id)
    assert rows["sequence"].tolist() == [0, 1, 2, 3, 4, 5]
    assert rows.tobytes() == b"".join(pack(sample(sequence=n)) for n in range(6))
    assert journal.events(writer.run_id)[-1] == EventLine(0.6, "closed", "done: profile complete")
    (line,) = journal.runs()
    assert (line.head, line.status, line.reason) == (HEAD, "done", "profile complete")


def test_what_is_recorded_behind_an_end_leaves_the_run_as_it_ended(journal: Journal) -> None:
    run_id = write_run(journal).run_id
    journal.reopen(run_id).close(0.6, "tripped", "level_low")
    seal = journal.seal(run_id)
    assert seal == journal.digests(run_id)[-1]
    behind = journal.behind(run_id)
    behind.append(sample(sequence=9))
    behind.note(0.9, "alarm", "still on")
    behind.commit()
    assert (journal.run(run_id).status, journal.run(run_id).reason) == ("tripped", "level_low")
    assert journal.verify_chain(run_id) == len(journal.digests(run_id)) == 5
    assert journal.seal(run_id) == seal != journal.digests(run_id)[-1]
    assert journal.samples(run_id)["sequence"][-1] == 9
    # Gone on with, it has another end.
    again = journal.reopen(run_id)
    assert journal.seal(run_id) == journal.digests(run_id)[-1]
    again.append(sample(sequence=12))
    again.close(1.2, "done", "")
    assert journal.verify_chain(run_id) == 6
    assert journal.seal(run_id) == journal.digests(run_id)[-1] != seal


def test_a_change_behind_an_end_is_found(journal: Journal) -> None:
    run_id = write_run(journal).run_id
    journal.reopen(run_id).close(0.6, "tripped", "level_low")
    for n in (8, 9):
        behind = journal.behind(run_id)
        behind.note(0.1 * n, "alarm", "still on")
        behind.commit()
    with sqlite3.connect(journal.path) as database:
        database.execute("UPDATE event SET text = 'all off' WHERE t_s > 0.75 AND t_s < 0.85")
    with pytest.raises(RecordError, match="was changed after it was written, first at chunk 5"):
        journal.verify_chain(run_id)


def test_runs_do_not_mix(journal: Journal) -> None:
    first, second = write_run(journal, 1), write_run(journal, 2)
    assert len(journal.samples(first.run_id)) == 2
    assert len(journal.samples(second.run_id)) == 4
    assert journal.verify_chain(second.run_id) == 2


def test_nothing_uncommitted_is_seen(journal: Journal) -> None:
    writer = journal.begin(HEAD)
    writer.append(sample())
    assert len(journal.samples(writer.run_id)) == 0
    writer.commit()
    assert len(journal.samples(writer.run_id)) == 1


def test_the_chain_is_the_sha256_it_claims_to_be(journal: Journal) -> None:
    writer = write_run(journal, 1)
    with sqlite3.connect(journal.path) as raw:
        ((digest,),) = raw.execute("select digest from chunk").fetchall()
    rows = pack(sample(sequence=0)) + pack(sample(sequence=1))
    head = hashlib.sha256(
        b'["2025-10-01T18:00:00+00:00", "quay", "plan", "bench", "{}", "{}"]'
    ).digest()
    beside = b'[0, %d, [[0.0, "gap", "0 samples lost"]]]' % len(rows)
    assert digest == hashlib.sha256(head + beside + rows).digest()
    assert journal.verify_chain(writer.run_id) == 1


@pytest.mark.parametrize(
    "change",
    [
        "update run set plan_text = 'another'",
        "update run set calibration_text = '[]'",
        "update run set status = 'failed'",
        "update run set reason = 'another'",
        "update chunk set rows = zeroblob(length(rows)) where number = 1",
        "update chunk set digest = zeroblob(32) where number = 0",
        "delete from chunk where number = 0",
        "delete from chunk where number = 2",
        "delete from chunk where number = 3",
        "delete from chunk",
        "update event set text = 'nothing lost' where chunk_number = 1",
        "delete from event where chunk_number = 1",
        "delete from chunk where number = 3; delete from event where chunk_number = 3",
        "update event set t_s = t_s + 1e-9 where chunk_number = 2",
        "insert into event values (99, 1, 2, 0.4, 'note', 'late entry')",
    ],
)
def test_any_change_is_found(journal: Journal, change: str) -> None:
    writer = write_run(journal)
    writer.close(0.6, "done", "profile complete")
    assert journal.verify_chain(writer.run_id) == 4
    with sqlite3.connect(journal.path) as raw:
        raw.executescript(change)
    with pytest.raises(RecordError, match="was changed after it was written"):
        journal.verify_chain(writer.run_id)


@settings(max_examples=20)
@given(at=st.integers(0, 2 * ROW.itemsize - 1), bit=st.integers(0, 7))
def test_any_changed_bit_of_a_chunk_is_found(
    tmp_path_factory: pytest.TempPathFactory, at: int, bit: int
) -> None:
    journal = Journal(tmp_path_factory.mktemp("bit") / "night.db")
    writer = write_run(journal, 1)
    with sqlite3.connect(journal.path) as raw:
        rows = bytearray(raw.execute("select rows from chunk").fetchone()[0])
        rows[at] ^= 1 << bit
        raw.execute("update chunk set rows = ?", (bytes(rows),))
    with pytest.raises(RecordError):
        journal.verify_chain(writer.run_id)
    journal.close()


def test_a_locked_journal_is_a_bench_fault_and_loses_nothing(journal: Journal) -> None:
    writer = write_run(journal, 1)
    other = sqlite3.connect(journal.path)
    other.execute("begin immediate")
    writer.append(sample(sequence=2))
    with pytest.raises(BenchFaultError, match="another program holds it"):
        writer.commit()
    other.rollback()
    other.close()
    writer.commit()
    assert journal.samples(writer.run_id)["sequence"].tolist() == [0, 1, 2]
    assert journal.verify_chain(writer.run_id) == 2


def test_a_full_disk_is_a_bench_fault_and_loses_nothing_committed(journal: Journal) -> None:
    writer = write_run(journal, 2)
    with journal._engine.connect() as raw:
        pages = raw.exec_driver_sql("pragma page_count").scalar_one()
        raw.exec_driver_sql(f"pragma max_page_count = {pages}")
    for n in range(200):
        writer.append(sample(sequence=100 + n))
    with pytest.raises(BenchFaultError, match="the disk is full"):
        writer.commit()
    assert journal.samples(writer.run_id)["sequence"].tolist() == [0, 1, 2, 3]
    assert journal.verify_chain(writer.run_id) == 2


@pytest.mark.parametrize("text", [b"not a database at all, only words" * 40, b"\0" * 5000])
def test_a_file_that_is_no_journal_is_refused(tmp_path: Path, text: bytes) -> None:
    path = tmp_path / "night.db"
    path.write_bytes(text)
    with pytest.raises(BenchFaultError, match="is not a journal"):
        Journal(path)


def test_a_missing_folder_is_refused(tmp_path: Path) -> None:
    with pytest.raises(BenchFaultError, match="check that its folder exists"):
        Journal(tmp_path / "nowhere" / "night.db")


def test_a_run_that_does_not_exist_is_refused(journal: Journal) -> None:
    with pytest.raises(RecordError, match="has no run 5"):
        journal.samples(5)


def as_of_1_0_0(path: Path) -> None:
    """Write a journal's samples anew in the layout of version 1.0.0, which knew none of `NEW`."""
    layout = ROW_TEXT.replace(" stop_reason:B causes:I", "")
    then = np.dtype([(name, ROW[name]) for name in ROW.names if name not in NEW])
    with sqlite3.connect(path) as raw:
        for key, rows in raw.execute("select rowid, rows from chunk").fetchall():
            now = np.frombuffer(rows, ROW)
            old = np.zeros(len(now), then)
            for name in then.names:
                old[name] = now[name]
            raw.execute("update chunk set rows = ? where rowid = ?", (old.tobytes(), key))
        raw.execute("update run set row_text = ?", (layout,))


def test_a_run_of_an_earlier_version_is_read_and_not_gone_on_with(journal: Journal) -> None:
    writer = write_run(journal, 1)
    now = journal.samples(writer.run_id)
    as_of_1_0_0(journal.path)
    then = [name for name in ROW.names if name not in NEW]
    read = journal.samples(writer.run_id)
    assert all((read[name] == now[name]).all() for name in then)
    assert all((read[name] == 0).all() for name in NEW)
    with pytest.raises(RecordError, match="begin a new night"):
        journal.reopen(writer.run_id)


KILLED = """
import sys
from pathlib import Path
from host.store.test_journal import HEAD, sample
from proofbath.store.journal import Journal
writer = Journal(Path(sys.argv[1])).begin(HEAD)
for n in range(10**9):
    writer.append(sample(sequence=n))
    writer.commit()
    print(n, flush=True)
"""


def test_a_killed_process_loses_nothing_committed(tmp_path: Path) -> None:
    path = tmp_path / "night.db"
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)}
    with subprocess.Popen(
        [sys.executable, "-c", KILLED, str(path)], stdout=subprocess.PIPE, env=environment
    ) as process:
        assert process.stdout is not None
        seen = [int(process.stdout.readline()) for _ in range(20)]
        process.send_signal(signal.SIGKILL)
        seen += [int(line) for line in process.stdout.read().split(b"\n")[:-1]]
    journal = Journal(path)
    sequences = journal.samples(1)["sequence"].tolist()
    assert sequences[: len(seen)] == seen
    assert journal.runs()[0].status == OPEN
    assert journal.verify_chain(1) == len(sequences)
