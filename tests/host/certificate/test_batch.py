"""Batch summaries and withdrawals: what they say, and what they refuse."""

from __future__ import annotations

import io
from typing import Any

import pypdf
import pytest
from pydantic import ValidationError

from host.certificate import ferry
from proofbath.certificate.batch import BatchRow, BatchSummary
from proofbath.certificate.issue import prepare
from proofbath.certificate.keys import SigningKey, open_key
from proofbath.certificate.pdf import Document
from proofbath.certificate.withdrawal import Withdrawal


@pytest.fixture(scope="module")
def key(tmp_path_factory: pytest.TempPathFactory) -> SigningKey:
    return open_key(tmp_path_factory.mktemp("keys"))


def paper(document: Document, key: SigningKey) -> str:
    pages = pypdf.PdfReader(io.BytesIO(prepare(document, key).pdf)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


def test_a_summary_lists_every_unit_with_its_certificate_or_why_none(key: SigningKey) -> None:
    words = paper(ferry.batch_summary(), key)
    assert "4 units: 2 pass, 1 fail, 1 refused at intake" in words
    assert "T82-0312 85.38 ± 0.30 °C setting turned in" in words
    assert "LN-2025-0043, withdrawn by LN-2025-0051" in words
    assert "T82-0315 – – – refused at intake wax seeps past the pin" in words
    assert "this sheet certifies nothing" in words


def test_a_long_batch_runs_over_pages_with_its_head_repeated(key: SigningKey) -> None:
    row = ferry.batch_summary().row[0].model_dump()
    rows = [row | {"serial": f"T82-{n:04}", "certificate": f"LN-{n:04}"} for n in range(90)]
    long = BatchSummary.model_validate(ferry.batch_summary().model_dump() | {"row": rows})
    words = paper(long, key)
    assert words.count("Certificate, or why none") >= 2
    assert all(f"T82-{n:04}" in words for n in range(90))


@pytest.mark.parametrize(
    ("row", "why"),
    [
        ({"serial": "1", "outcome": "pass"}, "state its certificate, or the reason"),
        (
            {"serial": "1", "outcome": "pass", "certificate": "A", "reason": "b"},
            "state its certificate",
        ),
        (
            {"serial": "1", "outcome": "fail", "reason": "b", "withdrawn_by": "C"},
            "nothing was certified",
        ),
    ],
)
def test_a_row_that_contradicts_itself_is_refused(row: dict[str, Any], why: str) -> None:
    with pytest.raises(ValidationError, match=why):
        BatchRow.model_validate(row)


def test_a_unit_is_listed_once() -> None:
    fields = ferry.batch_summary().model_dump()
    with pytest.raises(ValidationError, match="listed twice"):
        BatchSummary.model_validate(fields | {"row": [fields["row"][0]] * 2})


def test_a_withdrawal_says_what_is_no_longer_valid_and_what_to_do(key: SigningKey) -> None:
    words = paper(ferry.withdrawal(), key)
    assert "Certificate LN-2025-0042 is no longer valid." in words
    assert "Reason The ice point of bath probe P1 was found 0.14 K off" in words
    assert "What to do Take the unit out" in words
    assert "Replaced by no certificate so far" in words


@pytest.mark.parametrize(
    ("changed", "why"),
    [
        ({"withdraws": "LN-2025-0051"}, "numbers of their own"),
        ({"replaced_by": "LN-2025-0042"}, "numbers of their own"),
        ({"replaced_by": "LN-2025-0051"}, "numbers of their own"),
        ({"issued": "2025-04-06"}, "before the withdrawn"),
        ({"reason": ""}, "reason"),
    ],
)
def test_a_withdrawal_that_makes_no_sense_is_refused(changed: dict[str, Any], why: str) -> None:
    with pytest.raises(ValidationError, match=why):
        Withdrawal.model_validate(ferry.withdrawal().model_dump() | changed)
