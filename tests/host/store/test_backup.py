"""Backup and restore: proven, whole or not at all, never over a file that is there."""

from __future__ import annotations

import hashlib
import sqlite3
from pathlib import Path

import pytest

from host.store.shop import AT, small_shop
from host.store.test_journal import write_run
from proofbath.errors import InputError, RecordError
from proofbath.store.backup import backup, prove, restore
from proofbath.store.journal import Journal
from proofbath.store.kinds import Loading, StationRun, Unit
from proofbath.store.records import Records


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    """A workshop with a run whose station has its link on record."""
    path = tmp_path / "shop.db"
    journal, records = Journal(path), Records(path)
    writer = write_run(journal, 2)
    writer.close(0.4, "done", "profile complete")
    stamp = small_shop(records)
    loading = Loading(batch_id=1, unit_id=1, bench="quay", station=1, stage="as-found")
    run = StationRun(
        run_id=writer.run_id,
        loading_id=records.add(loading, stamp),
        station=1,
        status="done",
        run_digest=journal.digests(writer.run_id)[-1],
    )
    records.add(run, stamp)
    return path


def test_a_backup_comes_back_with_everything(shop: Path, tmp_path: Path) -> None:
    open_still = Records(shop)
    copy, again = tmp_path / "copy.db", tmp_path / "again.db"
    made = backup(shop, copy)
    assert (made.records, made.runs, made.chunks) == (7, 1, 3)
    assert made.head == open_still.head()
    assert restore(copy, again) == made
    assert Records(again).current(Unit) == open_still.current(Unit)
    assert prove(again, known=made.head) == made


def test_the_digest_beside_a_backup_is_the_files(shop: Path, tmp_path: Path) -> None:
    backup(shop, tmp_path / "copy.db")
    digest, name = (tmp_path / "copy.db.sha256").read_text().split()
    assert name == "copy.db"
    assert digest == hashlib.sha256((tmp_path / "copy.db").read_bytes()).hexdigest()
    assert sorted(p.name for p in tmp_path.glob("copy*")) == ["copy.db", "copy.db.sha256"]


def test_a_backup_that_was_cut_short_is_made_anew(shop: Path, tmp_path: Path) -> None:
    """What a process killed on the way leaves: a part of the copy, a digest without its file."""
    copy = tmp_path / "copy.db"
    copy.with_name("copy.db.part").write_bytes(b"half")
    copy.with_name("copy.db.sha256").write_text("0  copy.db")
    made = backup(shop, copy)
    assert restore(copy, tmp_path / "again.db") == made
    assert sorted(p.name for p in tmp_path.glob("copy*")) == ["copy.db", "copy.db.sha256"]


def test_a_backup_is_made_while_a_night_is_written(shop: Path, tmp_path: Path) -> None:
    journal = Journal(shop)
    writer = write_run(journal, 2)
    made = backup(shop, tmp_path / "copy.db")
    writer.commit()
    assert made.runs == 2
    assert restore(tmp_path / "copy.db", tmp_path / "again.db") == made


def test_nothing_is_overwritten(shop: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy.db"
    backup(shop, copy)
    before = copy.read_bytes()
    with pytest.raises(InputError, match="exists already"):
        backup(shop, copy)
    with pytest.raises(InputError, match="exists already"):
        restore(copy, shop)
    assert copy.read_bytes() == before


@pytest.mark.parametrize("at", [100, 5000, -1])
def test_a_changed_byte_of_a_backup_is_found(shop: Path, tmp_path: Path, at: int) -> None:
    copy = tmp_path / "copy.db"
    backup(shop, copy)
    data = bytearray(copy.read_bytes())
    data[at] ^= 1
    copy.write_bytes(data)
    with pytest.raises(RecordError, match="differs from its digest"):
        restore(copy, tmp_path / "again.db")
    assert not (tmp_path / "again.db").exists()


def test_a_backup_without_its_digest_is_refused(shop: Path, tmp_path: Path) -> None:
    backup(shop, tmp_path / "copy.db")
    (tmp_path / "copy.db.sha256").unlink()
    with pytest.raises(InputError, match="is missing"):
        restore(tmp_path / "copy.db", tmp_path / "again.db")
    with pytest.raises(InputError, match="no such file"):
        restore(tmp_path / "other.db", tmp_path / "again.db")


def test_a_changed_database_is_not_backed_up(shop: Path, tmp_path: Path) -> None:
    with sqlite3.connect(shop) as raw:
        raw.execute("DROP TRIGGER unit_no_update")
        raw.execute("UPDATE unit SET serial = 'other'")
    with pytest.raises(RecordError, match="unit 1 or its link was changed"):
        backup(shop, tmp_path / "copy.db")
    assert list(tmp_path.glob("copy*")) == []


def test_a_journal_exchanged_whole_is_found(shop: Path) -> None:
    """Another run with a sound chain of its own in the place of the one that was judged."""
    with sqlite3.connect(shop) as raw:
        raw.executescript("DELETE FROM event; DELETE FROM chunk; DELETE FROM run")
    writer = write_run(Journal(shop), 1)
    writer.close(0.4, "done", "profile complete")
    with pytest.raises(RecordError, match="is not the one that station 1's results rest on"):
        prove(shop)


def test_a_damaged_file_is_told(shop: Path) -> None:
    data = bytearray(shop.read_bytes())
    data[4096:12288] = b"\xff" * 8192
    shop.write_bytes(data)
    shop.with_name("shop.db-wal").unlink(missing_ok=True)
    with pytest.raises(RecordError, match="is damaged"):
        prove(shop)


def test_a_backup_whose_folder_is_missing_is_one_line(shop: Path, tmp_path: Path) -> None:
    with pytest.raises(RecordError, match="cannot be written"):
        backup(shop, tmp_path / "nowhere" / "copy.db")


def test_a_servers_database_is_left_to_its_own_tool(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="pg_dump"):
        backup("postgresql://host/shop", tmp_path / "copy.db")


def test_a_stamp_is_kept_as_given(shop: Path) -> None:
    assert {kept.at for kept in Records(shop).current(Unit)} == {AT}
