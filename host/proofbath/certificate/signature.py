"""Signed documents: canonical JSON of a content, the key that signed it, and the signature."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

from proofbath.certificate.canonical import canonical, parse_canonical
from proofbath.certificate.keys import SigningKey, fingerprint
from proofbath.errors import RecordError

FORMAT = "proofbath signed document 1"
_END = re.compile(
    rb',"format":"%b","key":([1-9][0-9]{0,8}),"public_key":"([0-9a-f]{64})"'
    rb'(,"signature":"([0-9a-f]{128})")\}\Z' % FORMAT.encode()
)
_LONGEST_END = 400


@dataclass(frozen=True)
class Signed:
    """A document whose signature holds; whether its key is to be trusted is another question."""

    document: dict[str, Any]
    key: int
    public: bytes

    @property
    def fingerprint(self) -> str:
        """The fingerprint of the key that signed it."""
        return fingerprint(self.public)


def sign(document: dict[str, Any], key: SigningKey) -> bytes:
    """Return the canonical JSON of the document, signed: everything in it but the signature."""
    told = {
        "document": document,
        "format": FORMAT,
        "key": key.number,
        "public_key": key.public.hex(),
    }
    signature = key.private.sign(canonical(told)).hex()
    return canonical({**told, "signature": signature})


def check(data: bytes) -> Signed:
    """Return what a signed JSON says; raises RecordError with the reason if a bit was changed.

    The signature is checked over the bytes as they are, before anything in them is read.
    """
    end = _END.search(data, max(0, len(data) - _LONGEST_END))
    if end is None:
        raise RecordError(f"it does not end as a {FORMAT} does: cut off, changed, or another file")
    public, signature = bytes.fromhex(end[2].decode()), bytes.fromhex(end[4].decode())
    if not holds(public, signature, data[: end.start(3)] + b"}"):
        raise RecordError("the signature does not fit: the data were changed after signing")
    document = parse_canonical(data).get("document")
    if not isinstance(document, dict):
        raise RecordError(f"a {FORMAT} without a document")
    return Signed(document, int(end[1]), public)


def holds(public: bytes, signature: bytes, message: bytes) -> bool:
    """Tell whether an Ed25519 signature of 64 bytes fits message and public key of 32."""
    try:
        Ed25519PublicKey.from_public_bytes(public).verify(signature, message)
    except (InvalidSignature, ValueError):
        return False
    return True
