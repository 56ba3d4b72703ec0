"""Issuing: a whole certificate or none, never twice under one number."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from host.certificate import ferry
from proofbath.certificate.atomic import remove_parts, write_new
from proofbath.certificate.content import Certificate, Replaces
from proofbath.certificate.issue import issue, mend_folder, prepare
from proofbath.certificate.keys import SigningKey, open_key
from proofbath.certificate.signature import check
from proofbath.certificate.verify import Outcome, verify
from proofbath.errors import InputError


@pytest.fixture(scope="module")
def key(tmp_path_factory: pytest.TempPathFactory) -> SigningKey:
    return open_key(tmp_path_factory.mktemp("keys"))


def test_a_certificate_is_two_files_and_reads_back_whole(key: SigningKey, tmp_path: Path) -> None:
    content = ferry.certificate()
    issued = issue(content, key, tmp_path / "certificates")
    names = sorted(path.name for path in (tmp_path / "certificates").iterdir())
    assert names == ["LN-2025-0042.json", "LN-2025-0042.pdf"]
    assert (tmp_path / "certificates" / names[0]).read_bytes() == issued.json
    assert Certificate.model_validate(check(issued.json).document) == content


@pytest.mark.parametrize("left", ["LN-2025-0042.pdf", "LN-2025-0042.json"])
def test_a_number_is_issued_once(key: SigningKey, tmp_path: Path, left: str) -> None:
    (tmp_path / left).write_bytes(b"earlier")
    with pytest.raises(InputError, match="LN-2025-0042: issued already; take the next number"):
        issue(ferry.certificate(), key, tmp_path)
    assert (tmp_path / left).read_bytes() == b"earlier"
    assert len(list(tmp_path.iterdir())) == 1


def test_a_replacement_names_the_earlier_and_a_withdrawal_ends_it(
    key: SigningKey, tmp_path: Path
) -> None:
    first = issue(ferry.certificate(), key, tmp_path)
    replaces = Replaces(
        number=first.number, sha256=first.sha256, reason="wrong mark", changes="customer's mark"
    )
    second = issue(ferry.certificate("LN-2025-0050", replaces=replaces), key, tmp_path)
    third = issue(ferry.withdrawal(first.sha256), key, tmp_path)
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


KILLED_AT_STEP = (
    "import os, signal, sys\nfrom pathlib import Path\n"
    "from proofbath.certificate.atomic import write_new\n"
    "folder, last = Path(sys.argv[1]), int(sys.argv[2])\n"
    "pdf, json = (folder.parent / name for name in ('made.pdf', 'made.json'))\n"
    "pdf, json = pdf.read_bytes(), json.read_bytes()\n"
    "steps = 0\n"
    "def step(event, arguments):\n"
    "    global steps\n"
    "    if event in ('open', 'os.link', 'os.remove'):\n"
    "        steps += 1\n"
    "        if steps > last:\n"
    "            os.kill(os.getpid(), signal.SIGKILL)\n"
    "sys.addaudithook(step)\n"
    "write_new(folder / 'LN-2025-0042.pdf', pdf)\n"
    "write_new(folder / 'LN-2025-0042.json', json)\n"
)


def test_kill_9_at_any_step_leaves_a_whole_certificate_or_none(
    key: SigningKey, tmp_path: Path
) -> None:
    issued = prepare(ferry.certificate(), key)
    (tmp_path / "made.pdf").write_bytes(issued.pdf)
    (tmp_path / "made.json").write_bytes(issued.json)
    outcomes = set()
    for last in range(20):
        folder = tmp_path / str(last)
        folder.mkdir()
        ended = run(KILLED_AT_STEP, folder, str(last)).returncode
        restored = mend_folder(folder)
        names = sorted(path.name for path in folder.iterdir())
        assert names in ([], ["LN-2025-0042.json", "LN-2025-0042.pdf"])
        for name in names:
            assert (folder / name).read_bytes() == getattr(issued, name.rsplit(".")[-1])
        outcomes.add((bool(names), bool(restored)))
        if ended == 0:
            break
        assert ended == -signal.SIGKILL
    assert outcomes == {(False, False), (True, True), (True, False)}


def test_mending_leaves_other_files_alone(tmp_path: Path) -> None:
    (tmp_path / "letter.pdf").write_bytes(b"%PDF-1.4\n%%EOF")
    (tmp_path / ".a.0badcafe.part").write_bytes(b"half")
    assert mend_folder(tmp_path) == []
    assert [path.name for path in tmp_path.iterdir()] == ["letter.pdf"]
    assert remove_parts(tmp_path) == 0
