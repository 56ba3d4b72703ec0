"""Small records beside a bench file, each a JSON text with a digest over itself.

The digest shows a record that was edited or damaged; it does not stop someone who writes a new
one.
"""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import TypeVar

from pydantic import ValidationError

from proofbath.description import Described
from proofbath.errors import InputError, RecordError
from proofbath.files import read_text

_R = TypeVar("_R", bound=Described)


def digest_of(record: Described) -> str:
    """Return the SHA-256 over a record's canonical text."""
    text = json.dumps(record.model_dump(), sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def save_sealed(path: Path, record: Described) -> None:
    """Write a record; raises InputError when it cannot be."""
    text = json.dumps({**record.model_dump(), "digest": digest_of(record)}, indent=2)
    temporary = path.with_suffix(".new")
    try:
        temporary.write_text(text + "\n")
        temporary.replace(path)
    except OSError as error:
        raise InputError(f"{path}: cannot be written: {error.strerror}") from error


def load_sealed(path: Path, kind: type[_R], remedy: str) -> _R | None:
    """Return a record, None where there is none; raises RecordError for a changed one."""
    if not path.exists():
        return None
    changed = f"{path}: was changed after it was written; {remedy}"
    try:
        fields = json.loads(read_text(path))
        digest = fields.pop("digest")
        record = kind.model_validate(fields)
    except (ValueError, AttributeError, KeyError, ValidationError) as error:
        raise RecordError(changed) from error
    if digest_of(record) != digest:
        raise RecordError(changed)
    return record
