"""The one file attached to a PDF of ours, found without a PDF library."""

from __future__ import annotations

import re
import zlib

from proofbath.errors import RecordError

LARGEST_BYTES = 20_000_000
_STREAM = re.compile(rb"<<[^\n]{0,300}/Type */EmbeddedFile[^\n]{0,300}>>\r?\nstream\r?\n")
_LENGTH = re.compile(rb"/Length ([0-9]{1,9})\b")


def attached_file(pdf: bytes) -> bytes:
    """Return the bytes of the file attached to a PDF; raises RecordError unless it is exactly one.

    It reads what our pages are written like; a PDF saved anew by another program may hide it.
    """
    streams = list(_STREAM.finditer(pdf))
    if len(streams) != 1:
        raise RecordError(f"{len(streams) or 'no'} attached files are readable in it, 1 is needed")
    head = streams[0][0]
    body = pdf[streams[0].end() :]
    if b"/FlateDecode" in head:
        return _inflated(body)
    length = _LENGTH.search(head)
    if length is None:
        raise RecordError("the attached file states no length")
    return body[: int(length[1])]


def _inflated(body: bytes) -> bytes:
    stream = zlib.decompressobj()
    try:
        data = stream.decompress(body, LARGEST_BYTES)
    except zlib.error as error:
        raise RecordError(f"the attached file is damaged: {error}") from error
    if not stream.eof:
        raise RecordError("the attached file is cut off, or larger than 20 MB")
    return data
