"""Issuing: a whole certificate or none, never twice under one number."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from host.certificate import ferry
from proofbath.certificate.atomic import remove_parts, write_new
from proofbath.certificate.content import Certificate, Replaces
from proofbath.certificate.issue import ASIDE, Issued, hand_out, issue, mend_folder, prepare
from proofbath.certificate.keys import SigningKey, open_key
from proofbath.certificate.signature import check
from proofbath.certificate.verify import Outcome, verify
from proofbath.errors import InputError


@pytest.fixture(scope="module")
def key(tmp_path_factory: pytest.TempPathFactory) -> SigningKey:
    return open_key(tmp_path_factory.mktemp("keys"))


def on_record(_: Issued) -> None:
    """Where nobody looks at the records."""


def test_a_certificate_is_two_files_and_reads_back_whole(key: SigningKey, tmp_path: Path) -> None:
    content = ferry.certificate()
    issued = issue(content, key, tmp_path / "certificates", on_record)
    names = sorted(path.name for path in (tmp_path / "certificates").iterdir() if path.is_file())
    assert names == ["LN-2025-0042.json", "LN-2025-0042.pdf"]
    assert (tmp_path / "certificates" / names[0]).read_bytes() == issued.json
    assert Certificate.model_validate(check(issued.json).document) == content


@pytest.mark.parametrize("left", ["LN-2025-0042.pdf", "LN-2025-0042.json"])
def test_a_number_is_issued_once(key: SigningKey, tmp_path: Path, left: str) -> None:
    (tmp_path / left).write_bytes(b"earlier")
    with pytest.raises(InputError, match="LN-2025-0042: issued already; take the next number"):
        issue(ferry.certificate(), key, tmp_path, on_record)
    assert (tmp_path / left).read_bytes() == b"earlier"
    assert [path.name for path in tmp_path.rglob("*") if path.is_file()] == [left]


def test_a_replacement_names_the_earlier_and_a_withdrawal_ends_it(
    key: SigningKey, tmp_path: Path
) -> None:
    first = issue(ferry.certificate(), key, tmp_path, on_record)
    replaces = Replaces(
        number=first.number, sha256=first.sha256, reason="wrong mark", changes="customer's mark"
    )
    second = issue(ferry.certificate("LN-2025-0050", replaces=replaces), key, tmp_path, on_record)
    third = issue(ferry.withdrawal(first.sha256), key, tmp_path, on_record)
    told = [check(each.json).document for each in (second, third)]
    assert told[0]["replaces"]["sha256"] == told[1]["withdraws_sha256"] == first.sha256
    assert verify((tmp_path / "LN-2025-0042.pdf").read_bytes(), {key.fingerprint}).outcome is (
        Outcome.GENUINE  # frozen: withdrawing changes no file
    )


def test_a_file_is_never_overwritten(tmp_path: Path) -> None:
    write_new(tmp_path / "a", b"first")
    with pytest.raises(InputError, match="never overwritten"):
        write_new(tmp_path / "a", b"second")
    assert [path.name for path in tmp_path.iterdir()] == ["a"]
    assert (tmp_path / "a").read_bytes() == b"first"
    with pytest.raises(InputError, match="cannot be written"):
        write_new(tmp_path / "missing" / "a", b"")


def test_a_full_disk_leaves_nothing_behind(tmp_path: Path) -> None:
    program = (
        "import resource, signal, sys\nfrom pathlib import Path\n"
        "from proofbath.certificate.atomic import write_new\n"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000))\n"
        "write_new(Path(sys.argv[1]), bytes(5000))\n"
    )
    made = run(program, tmp_path / "a")
    assert b"cannot be written: File too large" in made.stderr
    assert list(tmp_path.iterdir()) == []


def run(program: str, *arguments: Path | str) -> subprocess.CompletedProcess[bytes]:
    """Run a small program in a process of its own, which may be killed."""
    return subprocess.run(
        [sys.executable, "-c", program, *map(str, arguments)],
        check=False,
        capture_output=True,
        env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)},
    )


def killed_at_step(last: int, act: Callable[[], None]) -> int:
    """Do something in a child process that is killed at its next file operation after `last`."""
    child = os.fork()
    if child == 0:
        steps = 0

        def step(event: str, _arguments: object) -> None:
            nonlocal steps
            if event in ("open", "os.link", "os.remove", "os.mkdir"):
                steps += 1
                if steps > last:
                    os.kill(os.getpid(), signal.SIGKILL)

        sys.addaudithook(step)
        act()
        os._exit(0)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def test_kill_9_at_any_step_leaves_a_whole_certificate_on_record_or_none(
    key: SigningKey, tmp_path: Path
) -> None:
    issued = prepare(ferry.certificate(), key)
    outcomes = set()
    for last in range(40):
        folder, record = tmp_path / str(last), tmp_path / f"record {last}"

        def put_on_record(told: Issued, record: Path = record) -> None:
            write_new(record, told.sha256.encode())

        ended = killed_at_step(last, lambda f=folder, p=put_on_record: hand_out(issued, f, p))
        recorded = {issued.number: record.read_text()} if record.exists() else {}
        mended = mend_folder(folder, recorded)
        names = sorted(path.name for path in folder.glob("*") if path.is_file())
        whole = [f"{issued.number}.json", f"{issued.number}.pdf"]
        assert names == (whole if recorded else [])
        for name in names:
            assert (folder / name).read_bytes() == getattr(issued, name.rsplit(".")[-1])
        assert not any((folder / ASIDE).glob("*"))
        assert mend_folder(folder, recorded) == ((), ())
        outcomes.add((bool(recorded), bool(mended.completed), bool(mended.removed)))
        if ended == 0:
            break
        assert ended == -signal.SIGKILL
    assert ended == 0
    assert outcomes == {
        (False, False, False),  # killed before anything was whole
        (False, False, True),  # set aside, never on record
        (True, True, False),  # on record, brought out by the mending
        (True, False, False),  # done
    }


def test_what_stands_aside_under_a_number_of_another_document_is_removed(
    key: SigningKey, tmp_path: Path
) -> None:
    (tmp_path / ASIDE).mkdir()
    left = tmp_path / ASIDE / "LN-2025-0042.pdf"
    left.write_bytes(prepare(ferry.certificate(), key).pdf)
    assert mend_folder(tmp_path, {"LN-2025-0042": "ab" * 32}).removed == ("LN-2025-0042",)
    assert not left.exists()


def test_a_document_that_came_not_on_record_is_not_issued(key: SigningKey, tmp_path: Path) -> None:
    def refuse(_: Issued) -> None:
        raise InputError("taken")

    with pytest.raises(InputError, match="taken"):
        issue(ferry.withdrawal(), key, tmp_path, refuse)
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == []


def test_mending_leaves_other_files_alone(tmp_path: Path) -> None:
    (tmp_path / "letter.pdf").write_bytes(b"%PDF-1.4\n%%EOF")
    (tmp_path / ".a.0badcafe.part").write_bytes(b"half")
    assert mend_folder(tmp_path, {}) == ((), ())
    assert [path.name for path in tmp_path.iterdir()] == ["letter.pdf"]
    assert remove_parts(tmp_path) == 0
