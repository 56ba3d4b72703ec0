"""Canonical JSON: one value, one text. And its digest.

Sorted keys, no white space, UTF-8 in Unicode form NFC, floats as the shortest digits that read
back to the same double (as Python writes them, so 82.0 stays a float).
"""

from __future__ import annotations

import hashlib
import json
import math
import unicodedata
from typing import Any

from proofbath.errors import RecordError


def canonical(value: Any) -> bytes:
    """Return the canonical JSON of a value of dict, list, str, int, float, bool and None.

    Raises RecordError for anything else, and for NaN and infinities.
    """
    text = json.dumps(
        _normal(value), ensure_ascii=False, allow_nan=False, sort_keys=True, separators=(",", ":")
    )
    try:
        return text.encode()
    except UnicodeEncodeError as error:
        raise RecordError(f"text with half a sign (position {error.start}): no JSON") from error


def parse_canonical(data: bytes) -> Any:
    """Return the value of canonical JSON; raises RecordError unless `data` is exactly that."""
    try:
        value = json.loads(data)
        same = canonical(value) == data
    except (ValueError, RecursionError) as error:
        raise RecordError(f"not JSON: {error}") from error
    if not same:
        raise RecordError("the JSON is not in its canonical form: it was written anew or changed")
    return value


def sha256(data: bytes) -> str:
    """Return the SHA-256 of bytes in hex."""
    return hashlib.sha256(data).hexdigest()


def _normal(value: Any) -> Any:
    match value:
        case str():
            return unicodedata.normalize("NFC", value)
        case dict():
            return _normal_keys(value)
        case list() | tuple():
            return [_normal(item) for item in value]
        case float() if not math.isfinite(value):
            raise RecordError(f"{value} is no JSON number; state null with a reason")
        case None | bool() | int() | float():
            return value
    raise RecordError(f"{type(value).__name__} is no JSON value")


def _normal_keys(value: dict[Any, Any]) -> dict[str, Any]:
    found = dict[str, Any]()
    for key, item in value.items():
        if not isinstance(key, str):
            raise RecordError(f"key {key!r} is not a text")
        name = unicodedata.normalize("NFC", key)
        if name in found:
            raise RecordError(f"key {key!r} stands twice")
        found[name] = _normal(item)
    return found
