"""Text that may stand on a certificate: one line, printable, of bounded length."""

from __future__ import annotations

import unicodedata
from typing import Annotated

from pydantic import AfterValidator, Field, StringConstraints

LONGEST = 600


def _printable(text: str) -> str:
    wrong = next((sign for sign in text if not sign.isprintable()), None)
    if wrong is not None:
        raise ValueError(f"holds the sign U+{ord(wrong):04X}, which cannot be printed")
    return unicodedata.normalize("NFC", text)


Line = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, max_length=LONGEST),
    AfterValidator(_printable),
]
"""A line that must say something."""

Remark = Annotated[
    str, StringConstraints(strip_whitespace=True, max_length=LONGEST), AfterValidator(_printable)
]
"""A line that may stay empty."""

Number = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,39}$")]
"""The unique number of a document; it also names its files."""

Digest = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
"""A SHA-256 in hex."""
