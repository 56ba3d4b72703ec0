"""Issuing a document: signed, sealed, checked, and then in the folder whole or not at all.

The PDF carries its JSON, so it is the document; the JSON file beside it is a copy, written second
and restored where a power cut came between the two.
"""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

from proofbath.certificate.atomic import remove_parts, write_new
from proofbath.certificate.attached import attached_file
from proofbath.certificate.canonical import sha256
from proofbath.certificate.keys import SigningKey
from proofbath.certificate.pdf import Document, sealed_pdf
from proofbath.certificate.seal import find_seal
from proofbath.certificate.signature import sign
from proofbath.certificate.verify import Outcome, verify
from proofbath.errors import InputError, RecordError


class Issued(NamedTuple):
    """A document ready to be handed out: its signed JSON, its sealed PDF, the JSON's SHA-256."""

    number: str
    json: bytes
    pdf: bytes

    @property
    def sha256(self) -> str:
        """The digest that label and paper show."""
        return sha256(self.json)


def prepare(document: Document, key: SigningKey) -> Issued:
    """Return a document signed and sealed, in memory, after checking it as a customer would."""
    signed = sign(document.model_dump(mode="json"), key)
    pdf = sealed_pdf(document, signed, key)
    found = verify(pdf, {key.fingerprint})
    if found.outcome is not Outcome.GENUINE or found.sha256 != sha256(signed):
        raise RecordError(f"{document.number}: would not verify: {found.reason}")
    return Issued(document.number, signed, pdf)


def issue(document: Document, key: SigningKey, folder: Path) -> Issued:
    """Issue a document under its number into a folder, as NUMBER.pdf and NUMBER.json.

    The caller gives the number; one that was issued before is refused with InputError.
    """
    folder.mkdir(parents=True, exist_ok=True)
    pdf, json = folder / f"{document.number}.pdf", folder / f"{document.number}.json"
    if pdf.exists() or json.exists():
        raise InputError(f"{document.number}: issued already; take the next number")
    issued = prepare(document, key)
    write_new(pdf, issued.pdf)
    write_new(json, issued.json)
    return issued


def mend_folder(folder: Path) -> list[str]:
    """Clear up after an interrupted issue; returns the numbers whose JSON copy was restored."""
    remove_parts(folder)
    restored = []
    for pdf in sorted(folder.glob("*.pdf")):
        copy = pdf.with_suffix(".json")
        if not copy.exists() and find_seal(data := pdf.read_bytes()):
            write_new(copy, attached_file(data))
            restored.append(pdf.stem)
    return restored
