"""Labels: the QR code read back from the printed picture by another program."""

from __future__ import annotations

import io
from pathlib import Path

import pypdf
import pytest
import zxingcpp
from PIL import Image

from host.certificate import ferry
from proofbath.certificate.issue import Issued, prepare
from proofbath.certificate.keys import SigningKey, open_key
from proofbath.certificate.label import label_png, labels_pdf
from proofbath.certificate.qr import qr_text
from proofbath.errors import RecordError


@pytest.fixture(scope="module")
def key(tmp_path_factory: pytest.TempPathFactory) -> SigningKey:
    return open_key(tmp_path_factory.mktemp("keys"))


@pytest.fixture(scope="module")
def issued(key: SigningKey) -> Issued:
    return prepare(ferry.certificate(), key)


@pytest.mark.parametrize("ppi", [150.0, 203.0, 300.0])
def test_the_code_is_read_at_a_label_printers_resolution(
    issued: Issued, key: SigningKey, ppi: float
) -> None:
    picture = Image.open(io.BytesIO(label_png(issued.json, ppi))).convert("L")
    (code,) = zxingcpp.read_barcodes(picture)
    assert code.text == (
        f"certificate LN-2025-0042\nunit T82-0312\nkey 1 {key.fingerprint}\n"
        f"sha-256 {issued.sha256[:16]}"
    )
    assert code.text == qr_text("LN-2025-0042", "T82-0312", 1, key.fingerprint, issued.sha256)


def test_a_sheet_has_a_page_a_label_and_repeats_to_the_byte(
    issued: Issued, key: SigningKey
) -> None:
    second = prepare(ferry.certificate("LN-2025-0043", "T82-0313", 81.5), key)
    pdf = labels_pdf([issued.json, second.json])
    assert pdf == labels_pdf([issued.json, second.json])
    pages = pypdf.PdfReader(io.BytesIO(pdf)).pages
    assert [page.mediabox.width for page in pages] == pytest.approx([76 / 25.4 * 72] * 2, abs=0.1)
    words = [" ".join(page.extract_text().split()) for page in pages]
    assert "T82-0312 type Teal-82 82.28 ± 0.30 °C" in words[0]
    assert "T82-0313 type Teal-82 81.50 ± 0.30 °C" in words[1]
    assert "pass · 7 April 2025 certificate LN-2025-0043" in words[1]


def test_no_label_for_changed_data(issued: Issued) -> None:
    with pytest.raises(RecordError, match="changed after signing"):
        labels_pdf([issued.json.replace(b"82.28", b"82.08")])


def test_the_code_on_the_certificate_is_the_labels(issued: Issued, tmp_path: Path) -> None:
    page = pypdf.PdfReader(io.BytesIO(issued.pdf)).pages[-1]
    assert issued.sha256 in page.extract_text()
