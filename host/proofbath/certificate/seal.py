"""The seal of a PDF: one comment line before its last `startxref` that signs every byte.

The signature covers the whole file with its own 128 digits set to 0. The seal is a PDF comment, so
offsets, archive conformity and readers are untouched.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from proofbath.certificate.keys import SigningKey, fingerprint
from proofbath.certificate.signature import holds
from proofbath.errors import RecordError

WORD = b"%proofbath-seal 1"
BLANK = b"0" * 128
_END = re.compile(rb"startxref\n[0-9]+\n%%EOF\n?\Z")
_SEALED = re.compile(
    rb"\n" + WORD + rb" ([1-9][0-9]*) ([0-9a-f]{64}) ([0-9a-f]{128})\nstartxref\n[0-9]+\n%%EOF\n?\Z"
)
_LONGEST = 400


@dataclass(frozen=True)
class Seal:
    """The key that sealed a PDF, and whether every byte is as it was then."""

    key: int
    public: bytes
    intact: bool

    @property
    def fingerprint(self) -> str:
        """The fingerprint of the key that sealed it."""
        return fingerprint(self.public)


def seal(pdf: bytes, key: SigningKey) -> bytes:
    """Return the PDF with its seal; raises RecordError where it does not end as a PDF does."""
    end = _END.search(pdf, max(0, len(pdf) - _LONGEST))
    if end is None or find_seal(pdf):
        raise RecordError("no PDF that can be sealed: it lacks its end, or carries a seal already")
    head, tail = pdf[: end.start()], pdf[end.start() :]
    line = b"%b %d %b " % (WORD, key.number, key.public.hex().encode())
    signature = key.private.sign(head + line + BLANK + b"\n" + tail)
    return head + line + signature.hex().encode() + b"\n" + tail


def find_seal(pdf: bytes) -> Seal | None:
    """Return the seal a PDF ends with, checked over every byte; None where it has none."""
    found = _SEALED.search(pdf, max(0, len(pdf) - _LONGEST))
    if found is None:
        return None
    public, signature = bytes.fromhex(found[2].decode()), bytes.fromhex(found[3].decode())
    signed = pdf[: found.start(3)] + BLANK + pdf[found.end(3) :]
    return Seal(int(found[1]), public, holds(public, signature, signed))
