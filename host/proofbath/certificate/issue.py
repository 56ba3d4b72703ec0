"""Issuing a document: signed, sealed, checked, on record, then in the folder whole or not at all.

What is on record counts.  The PDF is set aside first, whole; then the record is written; then the
PDF is brought out under its name and its JSON, which it carries, copied beside it.  Whatever was
interrupted is finished or removed by `mend_folder`, by what the records say.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import NamedTuple

from proofbath.certificate.atomic import move_new, remove_parts, write_new
from proofbath.certificate.attached import attached_file
from proofbath.certificate.canonical import sha256
from proofbath.certificate.keys import SigningKey
from proofbath.certificate.pdf import Document, sealed_pdf
from proofbath.certificate.seal import find_seal
from proofbath.certificate.signature import sign
from proofbath.certificate.verify import Outcome, verify
from proofbath.errors import InputError, RecordError

ASIDE = "not-yet-issued"
"""Folder in the documents' folder: nothing in it counts."""


class Issued(NamedTuple):
    """A document ready to be handed out: its signed JSON, its sealed PDF, the JSON's SHA-256."""

    number: str
    json: bytes
    pdf: bytes

    @property
    def sha256(self) -> str:
        """The digest that label and paper show."""
        return sha256(self.json)


class Mended(NamedTuple):
    """Numbers whose files were completed, and of documents that never came on record: removed."""

    completed: tuple[str, ...]
    removed: tuple[str, ...]


def prepare(document: Document, key: SigningKey) -> Issued:
    """Return a document signed and sealed, in memory, after checking it as a customer would."""
    signed = sign(document.model_dump(mode="json"), key)
    pdf = sealed_pdf(document, signed, key)
    found = verify(pdf, {key.fingerprint})
    if found.outcome is not Outcome.GENUINE or found.sha256 != sha256(signed):
        raise RecordError(f"{document.number}: would not verify: {found.reason}")
    return Issued(document.number, signed, pdf)


def issue(
    document: Document, key: SigningKey, folder: Path, put_on_record: Callable[[Issued], None]
) -> Issued:
    """Issue a document under its number into a folder, as NUMBER.pdf and NUMBER.json.

    Raises what `hand_out` does, and InputError or RecordError where its pages cannot be made.
    """
    issued = prepare(document, key)
    hand_out(issued, folder, put_on_record)
    return issued


def hand_out(issued: Issued, folder: Path, put_on_record: Callable[[Issued], None]) -> None:
    """Put a prepared document on record and into its folder.

    `put_on_record` must leave number and digest on record or raise.  A number that was issued
    before is refused with InputError.
    """
    aside = folder / ASIDE
    aside.mkdir(parents=True, exist_ok=True)
    if any((folder / f"{issued.number}.{form}").exists() for form in ("pdf", "json")):
        raise InputError(f"{issued.number}: issued already; take the next number")
    waiting = aside / f"{issued.number}.pdf"
    write_new(waiting, issued.pdf)
    try:
        put_on_record(issued)
    except InputError:  # surely not on record; after anything else the mending decides
        waiting.unlink()
        raise
    _bring_out(waiting, folder, issued.json)


def mend_folder(folder: Path, on_record: Mapping[str, str]) -> Mended:
    """Clear up after an interrupted issue; `on_record` has the digest of each number on record.

    Nobody may be issuing into the folder meanwhile.
    """
    aside = folder / ASIDE
    remove_parts(folder)
    remove_parts(aside)
    completed, removed = [], []
    for waiting in sorted(aside.glob("*.pdf")):
        inner = attached_file(waiting.read_bytes())
        if on_record.get(waiting.stem) == sha256(inner):
            _bring_out(waiting, folder, inner)
            completed.append(waiting.stem)
        else:
            waiting.unlink()
            removed.append(waiting.stem)
    for pdf in sorted(folder.glob("*.pdf")):
        copy = pdf.with_suffix(".json")
        if not copy.exists() and find_seal(data := pdf.read_bytes()):
            write_new(copy, attached_file(data))
            completed.append(pdf.stem)
    return Mended(tuple(completed), tuple(removed))


def _bring_out(waiting: Path, folder: Path, json: bytes) -> None:
    """Bring a document that is on record out of the way aside; may have been begun before."""
    if not (copy := folder / f"{waiting.stem}.json").exists():
        write_new(copy, json)
    if not (pdf := folder / waiting.name).exists():
        move_new(waiting, pdf)
    waiting.unlink(missing_ok=True)
