"""The code that is read at the bench: its owner's file, ten minutes, a few tries, one start."""

from __future__ import annotations

import stat
from pathlib import Path

import pytest

from proofbath.errors import InputError, RecordError
from proofbath.workshop.presence import FILE, TRIES, check_code, issue_code, spend_code

AT = "2026-03-02T20:00:00+00:00"
LAST = "2026-03-02T20:09:59+00:00"
LATE = "2026-03-02T20:10:00+00:00"
EARLY = "2026-03-02T19:59:59+00:00"


def other(code: str) -> str:
    return f"{(int(code) + 1) % 10000:04}"


def test_a_code_is_four_digits_good_for_ten_minutes_and_one_start(tmp_path: Path) -> None:
    code = issue_code(tmp_path, "quay", AT)
    assert len(code) == 4
    assert code.isdecimal()
    check_code(tmp_path, "quay", code, AT)
    check_code(tmp_path, "quay", code, LAST)
    for when in (LATE, EARLY):
        with pytest.raises(InputError, match="none of bench quay is valid now"):
            check_code(tmp_path, "quay", code, when)
    spend_code(tmp_path, "quay")
    with pytest.raises(InputError, match="none of bench quay is valid now"):
        check_code(tmp_path, "quay", code, AT)


def test_a_code_is_of_its_bench_and_of_its_workshop(tmp_path: Path) -> None:
    code = issue_code(tmp_path, "quay", AT)
    with pytest.raises(InputError, match="none of bench pier"):
        check_code(tmp_path, "pier", code, AT)
    (tmp_path / "other").mkdir()
    with pytest.raises(InputError, match="none of bench quay"):
        check_code(tmp_path / "other", "quay", code, AT)


def test_wrong_tries_burn_it(tmp_path: Path) -> None:
    code = issue_code(tmp_path, "quay", AT)
    for left in range(TRIES - 1, 0, -1):
        with pytest.raises(InputError, match=f"{left} tr(y is|ies are) left"):
            check_code(tmp_path, "quay", other(code), AT)
    with pytest.raises(InputError, match="burnt"):
        check_code(tmp_path, "quay", other(code), AT)
    with pytest.raises(InputError, match="none of bench quay is valid"):
        check_code(tmp_path, "quay", code, AT)
    again = issue_code(tmp_path, "quay", AT)
    check_code(tmp_path, "quay", again, AT)


def test_an_empty_field_is_no_try(tmp_path: Path) -> None:
    code = issue_code(tmp_path, "quay", AT)
    for _ in range(2 * TRIES):
        with pytest.raises(InputError, match="not given"):
            check_code(tmp_path, "quay", "", AT)
    check_code(tmp_path, "quay", code, AT)


@pytest.mark.parametrize("odd", ["١٢٣٤", "12 34", "0x12", "\x00", "12345"])
def test_odd_words_are_wrong_tries(tmp_path: Path, odd: str) -> None:
    issue_code(tmp_path, "quay", AT)
    with pytest.raises(InputError, match="is another one"):
        check_code(tmp_path, "quay", odd, AT)


def test_codes_differ_and_the_file_is_its_owners_alone(tmp_path: Path) -> None:
    """Of 40 codes fewer than 35 different ones come by chance once in 10^9 times (birthdays)."""
    codes = {issue_code(tmp_path, "quay", AT) for _ in range(40)}
    assert len(codes) >= 35
    path = tmp_path / FILE
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert not any(f'"{code}"' in path.read_text() for code in codes)
    path.chmod(0o644)
    with pytest.raises(RecordError, match="others may read it"):
        issue_code(tmp_path, "quay", AT)


def test_a_damaged_file_opens_nothing(tmp_path: Path) -> None:
    (tmp_path / FILE).write_text("{}")
    (tmp_path / FILE).chmod(0o600)
    with pytest.raises(RecordError, match="is damaged"):
        check_code(tmp_path, "quay", "0000", AT)
