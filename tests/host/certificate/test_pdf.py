"""The PDF: an archive file other programs read, the same bytes every time, its data inside."""

from __future__ import annotations

import io
import os
import subprocess
import sys
from pathlib import Path

import pikepdf
import pypdf
import pytest

from host.certificate import ferry
from proofbath.certificate.attached import attached_file
from proofbath.certificate.issue import Issued, prepare
from proofbath.certificate.keys import SigningKey, open_key
from proofbath.certificate.parties import Customer
from proofbath.certificate.pdf import Document
from proofbath.errors import InputError, RecordError

ROOT = Path(__file__).parents[3]
DOCUMENTS: dict[str, Document] = {
    "certificate": ferry.certificate(),
    "withdrawal": ferry.withdrawal(),
    "batch summary": ferry.batch_summary(),
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("keys")


@pytest.fixture(scope="module")
def key(folder: Path) -> SigningKey:
    return open_key(folder)


@pytest.fixture(scope="module", params=DOCUMENTS)
def issued(request: pytest.FixtureRequest, key: SigningKey) -> Issued:
    return prepare(DOCUMENTS[request.param], key)


def test_other_programs_find_no_fault_and_the_data_inside(issued: Issued) -> None:
    with pikepdf.open(io.BytesIO(issued.pdf)) as pdf:
        assert pdf.check_pdf_syntax() == []
        (name,) = pdf.attachments
        assert name == "document.json"
        assert pdf.attachments[name].get_file().read_bytes() == issued.json
        assert str(pdf.attachments[name].obj.AFRelationship) == "/Data"
    assert attached_file(issued.pdf) == issued.json


def test_it_says_to_be_pdf_a_3b(issued: Issued) -> None:
    # ISO 19005-3 6.6.4 and 6.1.3, from memory: part and level in the XMP; nothing after the end
    with pikepdf.open(io.BytesIO(issued.pdf)) as pdf:
        assert (pdf.open_metadata().pdfa_status) == "3B"
    assert issued.pdf.endswith(b"%%EOF")


def test_every_page_names_the_document_and_its_place_in_it(issued: Issued) -> None:
    pages = pypdf.PdfReader(io.BytesIO(issued.pdf)).pages
    for number, page in enumerate(pages, 1):
        text = page.extract_text()
        assert issued.number in text
        assert f"page {number} of {len(pages)}" in text
    assert f"{issued.number} —" in pages[-1].extract_text()


def test_the_pages_fit_a4_and_bring_their_fonts(issued: Issued) -> None:
    for page in pypdf.PdfReader(io.BytesIO(issued.pdf)).pages:
        # ISO 216: A4 is 210 mm x 297 mm
        assert page.mediabox.width == pytest.approx(210 / 25.4 * 72, abs=0.1)
        assert page.mediabox.height == pytest.approx(297 / 25.4 * 72, abs=0.1)
    with pikepdf.open(io.BytesIO(issued.pdf)) as pdf:
        fonts = [obj for obj in pdf.objects if isinstance(obj, pikepdf.Dictionary)]
        described = [obj for obj in fonts if obj.get("/Type") == "/FontDescriptor"]
        assert described
        assert all("/FontFile2" in d or "/FontFile3" in d for d in described)


def test_another_process_makes_the_same_bytes(folder: Path, key: SigningKey) -> None:
    program = (
        "import sys\nfrom pathlib import Path\nfrom host.certificate import ferry\n"
        "from proofbath.certificate.issue import prepare\n"
        "from proofbath.certificate.keys import open_key\n"
        "sys.stdout.buffer.write(prepare(ferry.certificate(), open_key(Path(sys.argv[1]))).pdf)\n"
    )
    paths = os.pathsep.join([str(ROOT / "tests"), *sys.path])
    made = subprocess.run(
        [sys.executable, "-c", program, folder],
        check=True,
        capture_output=True,
        env=os.environ | {"PYTHONPATH": paths, "PYTHONHASHSEED": "7", "TZ": "Asia/Tokyo"},
    )
    assert made.stdout == prepare(ferry.certificate(), key).pdf


def test_a_sign_the_fonts_lack_is_refused_not_printed_as_a_box(key: SigningKey) -> None:
    customer = Customer(name="渡船", address=("Pier House",))
    with pytest.raises(InputError, match="could not be displayed"):
        prepare(ferry.certificate(customer=customer), key)


def test_a_text_is_printed_as_it_stands(key: SigningKey) -> None:
    name = "#panic() $x$ *Ness* \\u{41} <b> Ж Ω"
    content = ferry.certificate(customer=Customer(name=name, address=("Pier House",)))
    text = pypdf.PdfReader(io.BytesIO(prepare(content, key).pdf)).pages[0].extract_text()
    assert name in text


@pytest.mark.parametrize(
    ("pdf", "why"),
    [
        (b"%PDF-1.7\n%%EOF", "no attached files"),
        (b"<</Type/EmbeddedFile>>\nstream\n" * 2, "2 attached files"),
        (b"<</Type/EmbeddedFile/Filter/FlateDecode>>\nstream\nxx", "damaged"),
        (b"<</Type/EmbeddedFile/Filter/FlateDecode>>\nstream\nx\x9c", "cut off"),
        (b"<</Type/EmbeddedFile>>\nstream\nxx", "no length"),
    ],
)
def test_a_file_that_is_not_attached_whole_is_refused(pdf: bytes, why: str) -> None:
    with pytest.raises(RecordError, match=why):
        attached_file(pdf)


def test_a_plain_attached_file_is_read_by_its_length() -> None:
    assert attached_file(b"<</Type/EmbeddedFile/Length 2>>\nstream\n{}\nendstream") == b"{}"
