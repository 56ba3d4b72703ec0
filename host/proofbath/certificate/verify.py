"""Whether a PDF or JSON is what the workshop issued, told from the file alone and offline."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any

from proofbath.certificate.attached import attached_file
from proofbath.certificate.canonical import sha256
from proofbath.certificate.seal import Seal, find_seal
from proofbath.certificate.signature import Signed, check
from proofbath.errors import RecordError


class Outcome(StrEnum):
    """What verifying came to; only GENUINE means that the file may be relied on."""

    GENUINE = "genuine"
    UNKNOWN_KEY = "unchanged, but signed by a key that is not trusted here"
    ALTERED = "altered"
    NOT_OURS = "not a document of this kind"


@dataclass(frozen=True)
class Verification:
    """The outcome with its reason, and what the file says of itself.

    `document` is set only where the signature over it holds; an altered PDF may still carry such
    data. `caution` says what no file can tell, and whom to ask.
    """

    outcome: Outcome
    reason: str
    caution: str
    document: dict[str, Any] | None = None
    key: int | None = None
    fingerprint: str | None = None
    sha256: str | None = None

    @property
    def number(self) -> str | None:
        """The number of the document whose data hold."""
        return str(self.document.get("number")) if self.document else None

    def to_json(self) -> dict[str, Any]:
        """Return the verification for `--json`; the document by number, kind and title only."""
        told = self.document or {}
        return {
            "outcome": self.outcome.name.lower(),
            "reason": self.reason,
            "caution": self.caution,
            **{name: told.get(name) for name in ("number", "kind", "title")},
            "key": self.key,
            "fingerprint": self.fingerprint,
            "sha256": self.sha256,
        }


def verify(data: bytes, trusted: Collection[str]) -> Verification:
    """Tell whether a PDF or JSON is unchanged and signed by a key of a trusted fingerprint."""
    start = data[:1024].lstrip()
    if start[:1] == b"{":
        return _verify_json(data, trusted)
    if b"%PDF-" in start:
        return _verify_pdf(data, trusted)
    reason = f"neither PDF nor JSON ({len(data)} bytes); give the file that was issued"
    return Verification(Outcome.NOT_OURS, reason, _caution(None))


def _verify_json(data: bytes, trusted: Collection[str]) -> Verification:
    try:
        told = check(data)
    except RecordError as error:
        return Verification(Outcome.ALTERED, str(error), _caution(None))
    return _judged(told, data, trusted)


def _verify_pdf(data: bytes, trusted: Collection[str]) -> Verification:
    mark = find_seal(data)
    try:
        inner = attached_file(data)
        told = check(inner)
    except RecordError as error:
        start = "the PDF is sealed, but" if mark and mark.intact else f"{_broken(mark)};"
        return Verification(Outcome.ALTERED, f"{start} attached data: {error}", _caution(None))
    if mark is None or not mark.intact:
        kept = _judged(told, inner, trusted)
        return replace(kept, outcome=Outcome.ALTERED, reason=f"{_broken(mark)}; {_inside(kept)}")
    if (mark.key, mark.public) != (told.key, told.public):
        reason = "PDF and attached data were signed by different keys"
        return Verification(Outcome.ALTERED, reason, _caution(None))
    return _judged(told, inner, trusted)


def _broken(mark: Seal | None) -> str:
    if mark is None:
        return "the PDF carries no whole seal at its end"
    return "the PDF is not byte for byte what was issued"


def _inside(kept: Verification) -> str:
    """Return what an altered PDF's attached data are still worth."""
    if kept.outcome is Outcome.GENUINE:
        return f"the data attached to it are unchanged, of document {kept.number}: trust only those"
    return "the data attached to it are signed by a key that is not trusted here"


def _judged(told: Signed, signed: bytes, trusted: Collection[str]) -> Verification:
    about = (told.document, told.key, told.fingerprint, sha256(signed))
    if told.fingerprint in trusted:
        reason = f"unchanged since key {told.key} signed it"
        caution = _caution(told.document)
        return Verification(Outcome.GENUINE, reason, caution, *about)
    reason = (
        f"unchanged since it was signed, but by a key that is not trusted here: key {told.key},"
        f" fingerprint {told.fingerprint}; compare it with the one the workshop gives you"
    )
    return Verification(Outcome.UNKNOWN_KEY, reason, _caution(None), *about)


def _caution(document: dict[str, Any] | None) -> str:
    """Return what a file cannot tell, and whom to ask: as a trusted document names them."""
    workshop = document.get("workshop") if document else None
    whom = "the workshop that issued it"
    if isinstance(workshop, dict):
        whom = f"{workshop.get('name')}, {workshop.get('contact')}"
    return f"whether it was withdrawn later cannot be known from the file: ask {whom}"
