"""Verifying: what is genuine is called so, and every changed bit is found."""

from __future__ import annotations

import io
import random
from pathlib import Path

import pikepdf
import pytest

from host.certificate import ferry
from proofbath.certificate.canonical import sha256
from proofbath.certificate.issue import Issued, prepare
from proofbath.certificate.keys import SigningKey, open_key, rotate_key, trusted_fingerprints
from proofbath.certificate.render import pdf_of
from proofbath.certificate.seal import find_seal, seal
from proofbath.certificate.signature import sign
from proofbath.certificate.verify import Outcome, verify
from proofbath.errors import RecordError

FLIPS = 1000


@pytest.fixture(scope="module")
def key(tmp_path_factory: pytest.TempPathFactory) -> SigningKey:
    return open_key(tmp_path_factory.mktemp("keys"))


@pytest.fixture(scope="module")
def issued(key: SigningKey) -> Issued:
    return prepare(ferry.certificate(curve=ferry.curve(cycles=1)), key)


@pytest.fixture(scope="module")
def other(key: SigningKey) -> Issued:
    return prepare(ferry.certificate("LN-2025-0043", "T82-0313", 81.5, curve=()), key)


def flipped(data: bytes, byte: int, bit: int) -> bytes:
    """The data with one bit changed."""
    return data[:byte] + bytes([data[byte] ^ 1 << bit]) + data[byte + 1 :]


def test_what_was_issued_is_genuine(issued: Issued, key: SigningKey) -> None:
    for data in (issued.json, issued.pdf):
        found = verify(data, {key.fingerprint})
        assert found.outcome is Outcome.GENUINE
        assert (found.number, found.key, found.sha256) == ("LN-2025-0042", 1, sha256(issued.json))
        assert found.caution == (
            "whether it was withdrawn later cannot be known from the file: ask Ferry Workshop"
            " Lower Ness, certificates@lower-ness.example, +00 555 0182"
        )
        shown = found.to_json()
        assert (shown["outcome"], shown["kind"]) == ("genuine", "certificate")


def test_every_bit_of_every_byte_of_a_short_json(key: SigningKey) -> None:
    data = prepare(ferry.withdrawal(), key).json
    for byte in range(len(data)):
        for bit in range(8):
            found = verify(flipped(data, byte, bit), {key.fingerprint})
            assert found.outcome is not Outcome.GENUINE
            assert found.document is None


def test_every_byte_of_a_certificates_json(other: Issued, key: SigningKey) -> None:
    data, draw = other.json, random.Random(1)
    for byte in range(len(data)):
        found = verify(flipped(data, byte, draw.randrange(8)), {key.fingerprint})
        assert found.outcome is not Outcome.GENUINE
        assert found.document is None


def test_random_bits_of_the_pdf(issued: Issued, key: SigningKey) -> None:
    data, draw = issued.pdf, random.Random(2)
    for _ in range(FLIPS):
        changed = flipped(data, draw.randrange(len(data)), draw.randrange(8))
        assert verify(changed, {key.fingerprint}).outcome is not Outcome.GENUINE


def test_every_bit_of_the_end_of_the_pdf_where_the_seal_stands(key: SigningKey) -> None:
    data = prepare(ferry.withdrawal(), key).pdf
    for byte in range(len(data) - 300, len(data)):
        for bit in range(8):
            found = verify(flipped(data, byte, bit), {key.fingerprint})
            assert found.outcome is Outcome.ALTERED


@pytest.mark.parametrize(
    "extra", [b"\n", b" ", b"\x00", b"\n%%EOF", b"\n%more\nstartxref\n0\n%%EOF"]
)
def test_something_added_is_found(issued: Issued, key: SigningKey, extra: bytes) -> None:
    for data in (issued.pdf + extra, extra + issued.pdf, issued.json + extra):
        assert verify(data, {key.fingerprint}).outcome is Outcome.ALTERED


@pytest.mark.parametrize("share", [0.0, 0.0001, 0.1, 0.5, 0.9, 0.9999])
def test_something_cut_off_is_found(issued: Issued, key: SigningKey, share: float) -> None:
    for data in (issued.pdf, issued.json):
        found = verify(data[: int(share * len(data))], {key.fingerprint})
        assert found.outcome in (Outcome.ALTERED, Outcome.NOT_OURS)


def test_an_altered_pdf_says_what_its_data_are_worth(issued: Issued, key: SigningKey) -> None:
    # the pages changed, as an editor would, the attached data not
    changed = issued.pdf.replace(b"/Lang(en)", b"/Lang(fr)")
    found = verify(changed, {key.fingerprint})
    assert found.outcome is Outcome.ALTERED
    assert found.reason == (
        "the PDF is not byte for byte what was issued; the data attached to it are unchanged,"
        " of document LN-2025-0042: trust only those"
    )
    assert found.number == "LN-2025-0042"
    assert "not trusted here" in verify(changed, ()).reason


def saved_anew(pdf: bytes, attached: bytes | None) -> bytes:
    """The PDF as another program saves it, with other data attached, or none."""
    saved = io.BytesIO()
    with pikepdf.open(io.BytesIO(pdf)) as file:
        del file.attachments["document.json"]
        if attached is not None:
            file.attachments["document.json"] = pikepdf.AttachedFileSpec(file, attached)
        file.save(saved, object_stream_mode=pikepdf.ObjectStreamMode.disable)
    return saved.getvalue()


def test_swapped_data_are_found(issued: Issued, other: Issued, key: SigningKey) -> None:
    found = verify(saved_anew(issued.pdf, other.json), {key.fingerprint})
    assert found.outcome is Outcome.ALTERED
    assert found.reason.startswith("the PDF carries no whole seal at its end")


def test_data_swapped_under_the_old_seal_are_found(
    issued: Issued, other: Issued, key: SigningKey
) -> None:
    start = issued.pdf.rindex(b"%proofbath-seal")
    line = issued.pdf[start : issued.pdf.index(b"\n", start) + 1]
    pdf = saved_anew(issued.pdf, other.json).rstrip()
    at = pdf.rindex(b"startxref")
    found = verify(pdf[:at] + line + pdf[at:], {key.fingerprint})
    assert found.outcome is Outcome.ALTERED
    assert found.reason.startswith("the PDF is not byte for byte what was issued")


def test_a_missing_attachment_is_named(issued: Issued, key: SigningKey) -> None:
    found = verify(saved_anew(issued.pdf, None), {key.fingerprint})
    assert found.outcome is Outcome.ALTERED
    assert "attached data: no attached files are readable in it, 1 is needed" in found.reason
    assert found.document is None


def test_a_sealed_pdf_without_data_is_no_certificate(key: SigningKey) -> None:
    bare = seal(b"%PDF-1.7\nstartxref\n0\n%%EOF", key)
    found = verify(bare, {key.fingerprint})
    assert found.outcome is Outcome.ALTERED
    assert found.reason.startswith("the PDF is sealed, but attached data")


def test_data_of_one_key_in_a_pdf_sealed_by_another_are_refused(
    issued: Issued, key: SigningKey, tmp_path: Path
) -> None:
    forger = open_key(tmp_path)
    start = issued.pdf.rindex(b"%proofbath-seal")
    bare = issued.pdf[:start] + issued.pdf[issued.pdf.index(b"\n", start) + 1 :]
    found = verify(seal(bare, forger), {key.fingerprint})
    assert (found.outcome, found.document) == (Outcome.ALTERED, None)
    assert "signed by different keys" in found.reason


def test_another_workshops_key_is_not_trusted(issued: Issued, tmp_path: Path) -> None:
    forger = open_key(tmp_path)
    for data in (issued.pdf, issued.json):
        found = verify(data, {forger.fingerprint})
        assert found.outcome is Outcome.UNKNOWN_KEY
        assert str(found.fingerprint) in found.reason
        assert "ask the workshop that issued it" in found.caution  # its own contact is not trusted


def test_a_retired_key_is_still_trusted(tmp_path: Path) -> None:
    old = prepare(ferry.withdrawal(), open_key(tmp_path))
    rotate_key(tmp_path)
    assert verify(old.pdf, trusted_fingerprints(tmp_path)).outcome is Outcome.GENUINE


def test_a_signed_json_of_another_shape_is_refused(key: SigningKey) -> None:
    good = sign({"number": "1"}, key)
    assert verify(good, {key.fingerprint}).outcome is Outcome.GENUINE
    for swapped in (
        good.replace(b'"key":1,', b'"key":2,'),
        good.replace(b"document 1", b"document 2"),
    ):
        assert verify(swapped, {key.fingerprint}).outcome is Outcome.ALTERED
    assert verify(b"{}", {key.fingerprint}).outcome is Outcome.ALTERED


@pytest.mark.parametrize("data", [b"", b"hello", b"\x89PNG\r\n", b"[]"])
def test_another_file_is_not_ours(data: bytes) -> None:
    found = verify(data, ())
    assert found.outcome is Outcome.NOT_OURS
    assert found.number is None


def test_a_pdf_is_sealed_once(issued: Issued, key: SigningKey) -> None:
    with pytest.raises(RecordError, match="carries a seal already"):
        seal(issued.pdf, key)
    with pytest.raises(RecordError, match="lacks its end"):
        seal(b"%PDF-1.7", key)
    assert find_seal(pdf_of("label", {"labels": []}, {})) is None
