"""A sample as one fixed row of bytes: the wire table's fields, little-endian, packed."""

from __future__ import annotations

import struct
from typing import Any

import numpy as np
from numpy.typing import NDArray

from proofbath.wire.line import flat
from proofbath.wire.table import U16, Range, Sample, fields_of


def _code(field: Range) -> str:
    return "B" if field.high <= 0xFF else "H" if field.high <= U16 else "I"


def _dtype(field: Range) -> tuple[str, tuple[int, ...]]:
    code = {"B": "u1", "H": "<u2", "I": "<u4"}[_code(field)]
    return code, (field.count,) if field.count > 1 else ()


_FIELDS = fields_of(Sample)
_PACK = struct.Struct("<" + "".join(_code(r) * r.count for _, r in _FIELDS)).pack
ROW = np.dtype([(name, *_dtype(r)) for name, r in _FIELDS])
"""One row of the journal as a numpy structured type; `.itemsize` is its length in bytes."""
ROW_TEXT = " ".join(f"{name}:{_code(r) * r.count}" for name, r in _FIELDS)
"""The row's layout in words, kept with each run so that a later table cannot misread it."""


_BYTES = {"B": "u1", "H": "<u2", "I": "<u4"}


def read_rows(data: bytes, row_text: str) -> NDArray[Any]:
    """Return the rows packed in `data` under a layout in words, as an array of type `ROW`.

    A field the layout of that time did not have reads 0; one that is no longer known is left out.
    """
    if row_text == ROW_TEXT:
        return np.frombuffer(data, ROW)
    fields = [entry.split(":") for entry in row_text.split(" ")]
    then = np.dtype(
        [
            (name, _BYTES[codes[0]], (len(codes),) if len(codes) > 1 else ())
            for name, codes in fields
        ]
    )
    old = np.frombuffer(data, then)
    rows = np.zeros(len(old), ROW)
    for name in set(then.names or ()) & set(ROW.names or ()):
        rows[name] = old[name]
    return rows


def pack(sample: Sample) -> bytes:
    """Return the row of a sample."""
    return _PACK(*flat(sample))
